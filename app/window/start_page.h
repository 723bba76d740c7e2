// SPDX-License-Identifier: MIT
//
// What the window shows while no repository is open: open a folder, clone, the last repositories, the samples.
#pragma once

#include <QWidget>

class QListWidget;

namespace espalier {

class StartPage : public QWidget {
    Q_OBJECT
  public:
    explicit StartPage(QWidget* parent = nullptr);

    // Paths, the last used first.
    void setRecent(const QStringList& paths);
    QListWidget* samples() const { return m_samples; }
    QListWidget* recent() const { return m_recent; }

  Q_SIGNALS:
    void openRequested();
    void cloneRequested();
    void pathChosen(const QString& path);
    void sampleChosen(const QString& name);

  private:
    QListWidget* addList(QLayout* column, const QString& title);

    QListWidget* m_recent;
    QListWidget* m_samples;
    QWidget* m_recentBox;
};

} // namespace espalier
