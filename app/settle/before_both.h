// SPDX-License-Identifier: MIT
//
// The drawer of the settle page: what stood in a hunk's place before both sides changed it. Private to app/settle.
#pragma once

#include "core/conflicts/conflict_text.h"

#include <QStringList>
#include <QWidget>

class QToolButton;

namespace espalier {

class TextPane;

class BeforeBoth : public QWidget {
    Q_OBJECT
  public:
    explicit BeforeBoth(QWidget* parent);

    // What opens and closes it; stands wherever the page puts it.
    QToolButton* handle() const { return m_handle; }
    bool isOpen() const;
    void setOpen(bool open);
    void setWrapped(bool wrapped);
    // `lines` are those of the hunk's place in the ancestor.
    void showHunk(const ConflictText& text, const ConflictHunk& hunk, const QStringList& lines);

  protected:
    void changeEvent(QEvent* event) override;

  private:
    QString m_file;
    QToolButton* m_handle;
    TextPane* m_pane;
};

} // namespace espalier
