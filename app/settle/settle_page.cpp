// SPDX-License-Identifier: MIT
//
// How the settle page walks the conflicts and takes decisions. How it looks is in settle_page_layout.cpp.
#include "app/settle/settle_page_private.h"

#include "app/settle/before_both.h"
#include "app/settle/commit_drawer.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/form_bar.h"
#include "app/settle/hunk_list.h"
#include "app/settle/whole_path_view.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/git/text.h"
#include "core/merge/line_match.h"

#include <QCheckBox>
#include <QPushButton>
#include <QShortcut>
#include <QSplitter>
#include <QTimer>
#include <QVBoxLayout>

namespace espalier {

namespace {

// The first line of `text` that `was` has not, for people.
std::string_view firstDifference(std::string_view was, std::string_view text)
{
    for (const ChangedLine& line : changeOf(was, text))
        if (line.kind == ChangedLine::Added)
            return linesOf(text, {line.line, 1});
    return {};
}

} // namespace

int SettlePage::Private::hunk() const
{
    if (file < 0)
        return -1;
    return shown->files[std::size_t(file)].text.wholePath ? 0 : editor->currentHunk();
}

ConflictPlace SettlePage::Private::place() const
{
    if (file < 0 || waitingEdit >= 0)
        return {file, waitingEdit};
    return {file, shown->files[std::size_t(file)].text.wholePath ? 0 : 2 * hunk() + 1};
}

void SettlePage::Private::load(std::size_t commit)
{
    const DryRunPtr run = flow->run();
    if (!run || commit >= run->commits.size()) {
        staysAt.reset();
        return;
    }
    if (loading) {
        wanted = commit;
        return;
    }
    loading = true;
    startWork<CommitConflicts>(
        page, tr("Reading the conflict"),
        [path = session->path().toStdString(), run, commit](const Progress& progress) {
            return readConflicts(path, run, commit, progress);
        },
        [this](Result<CommitConflicts> read) {
            loading = false;
            if (const auto other = std::exchange(wanted, {})) {
                load(*other);
                return;
            }
            if (!read) {
                staysAt.reset();
                troubled = true;
                notice->say(NoticeBar::Trouble, toText(read.error().line()));
                return;
            }
            take(std::move(*read));
        });
}

void SettlePage::Private::take(CommitConflicts read)
{
    const DryRunPtr run = flow->run();
    if (run && !read.standsFor(*run)) { // the replay was changed while the conflict was read
        page->begin();
        return;
    }
    shown = std::make_shared<const CommitConflicts>(std::move(read));
    ++reading;
    who.clear();
    asked.clear();
    notes.clear();
    proposals.clear();
    looked.clear();
    file = -1;
    listReplay();
    list->setFiles(shown->files);
    const auto open = shown->undecided(flow->settlements());
    const auto stays = std::exchange(staysAt, {});
    const auto same = std::ranges::find_if(shown->files, [&](const OneConflict& one) {
        return stays && one.text.key.commit == stays->commit &&
               (one.text.key == *stays || std::ranges::contains(one.text.together, stays->path));
    });
    const int at = int(same - shown->files.begin());
    const auto openThere = std::ranges::find(open, at, &ConflictPlace::file);
    if (same != shown->files.end())
        showPlace(staysHunk >= 0            ? ConflictPlace{at, same->text.wholePath ? 0 : 2 * staysHunk + 1}
                  : openThere == open.end() ? ConflictPlace{at, 1}
                                            : *openThere);
    else if (!open.empty())
        showPlace(open.front());
    else if (!shown->files.empty())
        showPlace({0, 1});
    staysHunk = -1;
    if (const auto to = std::exchange(line, {}); to && same != shown->files.end() && !same->text.wholePath)
        showLine(*to);
    askProposals();
}

// What an earlier commit's decision or an edit of the replay has changed is read again; the decisions on what stayed the
// same hold.
void SettlePage::Private::followRun()
{
    const DryRunPtr run = flow->run();
    if (!run)
        return;
    const std::vector<CommitOutline> before =
        std::exchange(outline, replayOutline(*run, flow->settlements(), flow->remarks()));
    if (shown->standsFor(*run) || shown->files.empty()) {
        staysAt.reset(); // the texts cannot be written in that form
        showState();
        askProposals(); // what was just decided may tell something about the rest
        sayWhatHoldsNoLonger(before);
        return;
    }
    const bool stillThere = shown->commit < run->commits.size() && !run->commits[shown->commit].conflicts.empty() &&
                            run->commits[shown->commit].id == shown->files.front().text.yourCommit;
    if (stillThere)
        load(shown->commit);
    else
        page->begin();
}

void SettlePage::Private::showPlace(const ConflictPlace& to)
{
    if (to.file < 0 || to.file >= int(shown->files.size()))
        return;
    wait->stop();
    editor->flush();
    file = to.file;
    const auto index = std::size_t(file);
    const ConflictText& text = shown->files[index].text;
    waitingEdit = !text.wholePath && to.piece % 2 == 0 ? to.piece : -1;
    editor->setVisible(!text.wholePath);
    wholePath->setVisible(text.wholePath);
    showDrawers(!text.wholePath);
    around->setVisible(!text.wholePath);
    wrap->setVisible(!text.wholePath);
    if (text.wholePath) {
        wholePath->setConflict(text);
    } else {
        editor->setConflict(text, settlementOf(index), offeredIn(file));
        if (to.piece % 2 == 1)
            editor->setCurrentHunk(to.piece / 2);
        else if (to.piece >= 0)
            editor->showStretch(to.piece / 2);
    }
    const auto name = [](QPushButton* button, const QString& words, const QString& keys) {
        // Both stand side by side in the smallest window, whatever paths they name.
        const QFontMetrics metrics = button->fontMetrics();
        const QString fits = metrics.elidedText(words, Qt::ElideMiddle, metrics.averageCharWidth() * 44);
        button->setText(toCaption(fits));
        button->setToolTip(fits == words ? keys : toToolTip(QStringLiteral("%1 (%2)").arg(words, keys)));
        button->setAccessibleName(words);
    };
    name(choices[0], text.wholePath ? toText(text.keepNewBase) : tr("Keep new base"), tr("Alt+1"));
    name(choices[1], text.wholePath ? toText(text.keepYourCommit) : tr("Keep your commit"), tr("Alt+2"));
    forms->showQuestions(text.formQuestions);
    choices[2]->setVisible(!text.wholePath);
    choices[3]->setVisible(!text.wholePath);
    enableTextActions();
    showHunk();
    showState();
}

void SettlePage::Private::showHunk()
{
    if (file < 0)
        return;
    const ConflictText& text = shown->files[std::size_t(file)].text;
    list->setCurrent(place());
    explanation->setVisible(!text.wholePath);
    askWho();
    showWho();
    if (!text.wholePath && hunk() >= 0) {
        const ConflictHunk& at = text.hunks[std::size_t(hunk())];
        drawer->showHunk(text, at, editor->model().ancestorLines().mid(at.ancestor.first, at.ancestor.count));
    }
    offerAgain();
}

// What is worth knowing before this hunk is decided: that it was decided for other texts.
void SettlePage::Private::offerAgain()
{
    showOffers();
    if (file < 0 || hunk() < 0 || troubled)
        return;
    if (waitingEdit >= 0) {
        offerWaiting();
        return;
    }
    const bool open = settlementOf(std::size_t(file)).decision(std::size_t(hunk())).choice == Choice::Undecided;
    if (open && shown->files[std::size_t(file)].again)
        notice->say(NoticeBar::Warning, tr("An edit of the replay changed what meets here: look at it again."));
    else
        notice->clear();
}

// An edit outside the hunks that fits no longer: its own words, and the two answers.
void SettlePage::Private::offerWaiting()
{
    const FileSettlement held = settlementOf(std::size_t(file));
    const auto piece = std::size_t(waitingEdit);
    if (piece >= held.pieces.size() || !isOpen(held.pieces[piece])) {
        waitingEdit = -1;
        notice->clear();
        return;
    }
    const WaitingEdit& waiting = *std::get<SettledStretch>(held.pieces[piece]).waiting;
    const std::string words = displayText(firstDifference(waiting.edit.was, waiting.edit.text), 60);
    notice->say(NoticeBar::Warning,
                tr("What you typed here no longer fits what meets now: “%1”. Until you answer, it is left out.")
                    .arg(toText(words)));
    QObject::connect(notice->offer(tr("&Put it back")), &QPushButton::clicked, page,
                     [this] { editor->answerEdit(waitingEdit, true); });
    QObject::connect(notice->offer(tr("&Leave it out")), &QPushButton::clicked, page,
                     [this] { editor->answerEdit(waitingEdit, false); });
}

void SettlePage::Private::showState()
{
    const DryRunPtr run = flow->run();
    if (!run || file < 0 || shown->commit >= run->commits.size())
        return;
    listReplay();
    for (std::size_t i = 0; i < shown->files.size(); ++i)
        list->setDecisions(int(i), shown->files[i], settlementOf(i),
                           [this, i](int hunk) { return offerFor(int(i), hunk); });
    showRemarks();
    list->refilter();
    const ConflictText& text = shown->files[std::size_t(file)].text;
    const std::size_t open = shown->undecided(flow->settlements()).size();
    title->setText(tr("Settle: %1 onto %2").arg(toText(flow->plan().label), toText(flow->plan().ontoLabel)));
    where->setText(tr("Commit %1 of %2: %3 · %4 · %5 of %6 undecided")
                       .arg(QString::number(shown->commit + 1), QString::number(run->commits.size()),
                            toText(text.yourSubject), toText(text.path), QString::number(open),
                            toText(counted(shown->questions(flow->settlements()), "hunk", "hunks"))));
    showCheck();
    undo->setEnabled(flow->canUndo());
    redo->setEnabled(flow->canRedo());
    // The flow's run may still be on its way; what was decided here counts at once.
    std::size_t elsewhere = 0;
    for (std::size_t i = 0; i < run->commits.size(); ++i)
        if (i != shown->commit)
            for (const Conflict& conflict : run->commits[i].conflicts)
                elsewhere += conflict.undecided;
    const bool all = open == 0 && elsewhere == 0;
    const std::size_t remarks = all ? remarkCount() : 0;
    next->setText(!all ? tr("&Next undecided") : remarks > 0 ? tr("&Next to look at") : tr("Bac&k to the dry run"));
    next->setDefault(true);
    previous->setEnabled(open > 0);
    // What is decided while the file is on its way back in another form would be about hunks that are no more.
    holdEditor(staysAt.has_value());
    for (QPushButton* button : choices)
        button->setEnabled(hunk() >= 0 && !staysAt);
    const QString done = tr("Every hunk is decided. Read the dry run once more, then apply.");
    if (all && !troubled && remarks == 0)
        notice->say(NoticeBar::Good, done);
    else if (notice->line() == done)
        notice->clear();
}

void SettlePage::Private::decide(Choice choice)
{
    if (file < 0)
        return;
    troubled = false;
    const ConflictText& text = shown->files[std::size_t(file)].text;
    if (text.wholePath) {
        flow->settle(shown->decidedWhole(std::size_t(file), choice));
        showState();
        offerAgain();
        return;
    }
    const int at = hunk();
    if (at < 0)
        return;
    editor->decide(choice);
}

// The file is merged anew in that form: what was decided holds as far as the hunks stay the same.
void SettlePage::Private::settleForm(const FileForm& form)
{
    if (file < 0)
        return;
    troubled = false;
    editor->flush();
    FileSettlement settled = settlementOf(std::size_t(file));
    if (settled.form == form)
        return;
    settled.form = form;
    staysAt = shown->files[std::size_t(file)].text.key;
    flow->settle({{*staysAt, settled}});
    showState();
}

// Goes to where something changed, so that what undo does is never out of sight.
void SettlePage::Private::revert(bool forward)
{
    troubled = false;
    editor->flush();
    std::vector<FileSettlement> before;
    for (std::size_t i = 0; i < shown->files.size(); ++i)
        before.push_back(settlementOf(i));
    const Settlements all = flow->settlements();
    forward ? flow->redo() : flow->undo();
    for (std::size_t i = 0; i < shown->files.size(); ++i) {
        const FileSettlement after = settlementOf(i);
        if (after == before[i])
            continue;
        rememberNew(int(i), before[i], after);
        const auto [was, is] = std::ranges::mismatch(before[i].pieces, after.pieces);
        if (after.form != before[i].form || after.cuts != before[i].cuts) { // the file comes back so
            staysAt = shown->files[i].text.key;
            showState();
            return;
        }
        showPlace({int(i), int(is - after.pieces.begin())});
        return;
    }
    showState();
    const DryRunPtr run = flow->run();
    for (std::size_t i = 0; run && i < run->commits.size(); ++i)
        for (const Conflict& conflict : run->commits[i].conflicts) {
            const SettlementKey key = conflict.key(run->commits[i].id);
            const FileSettlement* was = all.find(key);
            const FileSettlement* now = flow->settlements().find(key);
            if ((was ? *was : FileSettlement{}) != (now ? *now : FileSettlement{})) {
                load(i);
                return;
            }
        }
}

void SettlePage::Private::goUndecided(bool forward)
{
    troubled = false;
    editor->flush();
    // All hunks in order, from the one behind (or before) where the user is.
    const auto open = shown->undecided(flow->settlements());
    if (!open.empty()) {
        const ConflictPlace here = place();
        auto at = forward ? std::ranges::upper_bound(open, here) : std::ranges::lower_bound(open, here);
        if (forward)
            at = at == open.end() ? open.begin() : at;
        else
            at = at == open.begin() ? open.end() - 1 : at - 1;
        showPlace(*at);
        return;
    }
    const DryRunPtr run = flow->run();
    if (flow->isBusy() || !run) {
        goesOn = true;
        return;
    }
    if (run->firstConflict() < run->commits.size())
        load(run->firstConflict());
    else if (const std::size_t remarks = remarkCount(); remarks > 0)
        // The one that the line is about first, then each in turn.
        goToRemark(std::exchange(walked, true) ? remark + (forward ? 1 : remarks - 1) : remark);
    else if (forward)
        Q_EMIT page->allSettled();
}

SettlePage::SettlePage(Session* session, ReplayFlow* flow, QWidget* parent)
    : QWidget(parent), d(std::make_unique<Private>())
{
    d->page = this;
    d->session = session;
    d->flow = flow;
    setAccessibleName(tr("Settle"));
    d->build();
    connect(flow, &ReplayFlow::runChanged, this, [this] {
        if (!isVisible())
            return;
        d->followRun();
        if (std::exchange(d->goesOn, false))
            d->goUndecided(true);
    });
    connect(flow, &ReplayFlow::busyChanged, this, [this] {
        if (isVisible())
            d->showCheck();
    });
    connect(flow, &ReplayFlow::remarksChanged, this, [this] {
        if (isVisible())
            d->showState();
    });
    connect(flow, &ReplayFlow::collecting, this, [this] { d->editor->flush(); });
    connect(flow, &ReplayFlow::failed, this, [this](const QString& line) {
        d->staysAt.reset();
        d->showState();
        if (!isVisible())
            return;
        d->troubled = true;
        d->notice->say(NoticeBar::Trouble, line);
    });
}

SettlePage::~SettlePage() = default;

void SettlePage::begin()
{
    const DryRunPtr run = d->flow->run();
    d->notice->clear();
    d->troubled = false;
    if (!run)
        return;
    std::size_t commit = run->firstConflict();
    d->remark = 0;
    d->walked = false;
    if (commit >= run->commits.size() && !d->flow->remarks().empty()) {
        d->goToRemark(0);
        return;
    }
    // Everything is decided already: the decisions are shown again.
    for (std::size_t i = 0; commit >= run->commits.size() && i < run->commits.size(); ++i)
        if (!run->commits[i].conflicts.empty())
            commit = i;
    d->load(commit);
}

} // namespace espalier
