// SPDX-License-Identifier: MIT
//
// What the window shows before a repository is open, and again when it is asked for: open, clone, the repositories that
// were opened before, and samples to try on. Samples stay as they were left until they are removed here.
#pragma once

#include <QStringList>
#include <QWidget>

class QBoxLayout;
class QListWidget;
class QPushButton;

namespace espalier {

class Card;
class PlainLabel;

class StartPage : public QWidget {
    Q_OBJECT
  public:
    explicit StartPage(QWidget* parent = nullptr);

    // Paths, the last used first.
    void setRecent(const QStringList& paths);
    // The samples that are kept, by name, and the folder in which.
    void setKept(const QStringList& names, const QString& folder);
    // The repository that is open behind the page; empty: none.
    void setOpened(const QString& name);
    QListWidget* samples() const { return m_samples; }
    QListWidget* recent() const { return m_recent; }

  Q_SIGNALS:
    void openRequested();
    void cloneRequested();
    void walkthroughRequested();
    void backRequested();
    void pathChosen(const QString& path);
    void sampleChosen(const QString& name);
    void removeSampleRequested(const QString& name);

  private:
    void buildHead(QBoxLayout* column);
    QListWidget* addList(QBoxLayout* column, const QString& title);
    void fillSamples();
    void judge();

    QListWidget* m_recent;
    QListWidget* m_samples;
    Card* m_recentCard;
    PlainLabel* m_keptWords;
    QPushButton* m_open;
    QPushButton* m_back;
    QPushButton* m_remove;
    QStringList m_kept;
    QString m_folder;
};

} // namespace espalier
