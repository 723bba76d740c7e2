// SPDX-License-Identifier: MIT
//
// The list of the settle page: all that the replay asks, found by words or by what is undecided, and the way to another commit
// of it and back.
#include "app/settle/settle_page_private.h"

#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QLineEdit>
#include <QPushButton>
#include <QShortcut>
#include <QTimer>
#include <QVBoxLayout>

namespace espalier {

namespace {

constexpr int readAfter = 200; // milliseconds: who walks the list past other commits does not wait for each of them

}

QWidget* SettlePage::Private::buildList(QWidget* parent)
{
    const int space = theme::gap(page);
    auto* card = new Card(parent);
    card->setMinimumWidth(page->fontMetrics().averageCharWidth() * 44);
    auto* column = new QVBoxLayout(card);
    column->setContentsMargins(space, space, space, space);
    column->setSpacing(space / 2);
    auto* row = new QHBoxLayout;
    row->setSpacing(space);
    search = new QLineEdit(card);
    search->setObjectName(QStringLiteral("search"));
    search->setPlaceholderText(tr("Find"));
    search->setAccessibleName(tr("Find a path or a commit in the list"));
    search->setToolTip(tr("A path, or a commit by its subject or id (Alt+S)"));
    search->setClearButtonEnabled(true);
    undecidedOnly = new QCheckBox(tr("Undecided onl&y"), card);
    undecidedOnly->setObjectName(QStringLiteral("undecidedOnly"));
    row->addWidget(search, 1);
    row->addWidget(undecidedOnly);
    column->addLayout(row);
    list = new HunkList(card);
    column->addWidget(list, 1);
    page->setFocusProxy(list);
    const auto filter = [this] { list->setFilter(search->text().trimmed(), undecidedOnly->isChecked()); };
    QObject::connect(search, &QLineEdit::textChanged, page, filter);
    QObject::connect(undecidedOnly, &QCheckBox::toggled, page, filter);
    QObject::connect(search, &QLineEdit::returnPressed, page, [this] { list->setFocus(Qt::OtherFocusReason); });
    auto* find = new QShortcut(Qt::ALT | Qt::Key_S, page, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
    QObject::connect(find, &QShortcut::activated, search, [this] {
        search->setFocus(Qt::ShortcutFocusReason);
        search->selectAll();
    });
    QObject::connect(list, &HunkList::chosen, page, [this](const ConflictPlace& chosen) {
        troubled = false;
        showPlace(chosen);
    });
    QObject::connect(list, &HunkList::remarkChosen, page, [this](int ofFile, int index) {
        troubled = false;
        goToRemarkOf(ofFile, index);
    });
    wait = new QTimer(page);
    wait->setSingleShot(true);
    wait->setInterval(readAfter);
    QObject::connect(list, &HunkList::chosenElsewhere, page,
                     [this](std::size_t commit, const SettlementKey& key, int hunk) {
                         wait->disconnect(page);
                         QObject::connect(wait, &QTimer::timeout, page,
                                          [this, commit, key, hunk] { goElsewhere(commit, key, hunk); });
                         wait->start();
                     });
    return card;
}

void SettlePage::Private::listReplay()
{
    const DryRunPtr run = flow->run();
    // While the replay is being changed its commits may stand in other places than those that were read.
    if (!run || shown->files.empty() || shown->commit >= run->commits.size() ||
        run->commits[shown->commit].id != shown->files.front().text.yourCommit)
        return;
    outline = replayOutline(*run, flow->settlements(), flow->remarks());
    list->setReplay(outline, shown->commit);
}

// Another commit of the replay; the decisions of this one stay.
void SettlePage::Private::goElsewhere(std::size_t commit, const SettlementKey& key, int hunk)
{
    editor->flush();
    troubled = false;
    staysHunk = hunk;
    if (key.commit.isZero())
        staysAt.reset();
    else
        staysAt = key;
    load(commit);
}

// After an earlier commit was decided anew, the later ones were computed again: what they have to be looked at again for.
void SettlePage::Private::sayWhatHoldsNoLonger(const std::vector<CommitOutline>& before)
{
    const std::vector<CommitOutline> open = newlyOpen(before, outline);
    const auto elsewhere =
        std::ranges::find_if(open, [this](const CommitOutline& commit) { return commit.commit != shown->commit; });
    if (elsewhere == open.end() || troubled)
        return;
    std::size_t again = 0, holding = 0;
    for (const CommitOutline& commit : open)
        again += commit.again();
    for (const CommitOutline& commit : outline)
        if (commit.commit > shown->commit)
            holding += commit.questions() - commit.undecided();
    const FileOutline& first = elsewhere->files.front();
    notice->say(NoticeBar::Warning,
                tr("Later commits were computed again: %1 to be looked at again, first in %2 of “%3”; %4 there.")
                    .arg(toText(counted(again, "hunk has", "hunks have")), toText(first.path),
                         toText(elsewhere->subject), toText(counted(holding, "decision holds", "decisions hold"))));
    QObject::connect(notice->offer(tr("&Look there")), &QPushButton::clicked, page,
                     [this, to = elsewhere->commit, key = first.key] { goElsewhere(to, key, -1); });
}

} // namespace espalier
