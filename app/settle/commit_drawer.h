// SPDX-License-Identifier: MIT
//
// The other drawer of the settle page: the commits of both sides that changed the lines of a hunk, and what the chosen one
// changed in the file. Private to app/settle.
//
//     drawer->showCommits(who, words);
//     connect(drawer, &CommitDrawer::changeWanted, page, [=](const Oid& id) { … drawer->showChange(id, change); });
#pragma once

#include "app/support/text.h"
#include "core/conflicts/commit_change.h"
#include "core/conflicts/hunk_commits.h"

class QToolButton;
class QTreeWidget;

namespace espalier {

class TextPane;

class CommitDrawer : public QWidget {
    Q_OBJECT
  public:
    explicit CommitDrawer(QWidget* parent);

    // What opens and closes it; stands wherever the page puts it.
    QToolButton* handle() const { return m_handle; }
    bool isOpen() const;
    // Open, it has the keyboard, and the first commit's change is asked for.
    void setOpen(bool open);
    // Of the hunk that is looked at; null while nobody knows. `file`: the name that chooses the highlighting.
    void showCommits(const HunkCommits* who, const QString& file);
    // Dropped when another commit is chosen by now.
    void showChange(const Oid& of, const CommitChange& change);
    void showTrouble(const Oid& of, const QString& line);

  Q_SIGNALS:
    void opened(bool open);
    void changeWanted(const espalier::Oid& id);

  protected:
    void changeEvent(QEvent* event) override;

  private:
    void ask();
    void say(const QString& words);

    QToolButton* m_handle;
    QTreeWidget* m_list;
    PlainLabel* m_words;
    TextPane* m_pane;
    std::vector<Oid> m_commits; // one a row of the list
    Oid m_asked;                // whose change is shown or on its way
    QString m_file;
};

} // namespace espalier
