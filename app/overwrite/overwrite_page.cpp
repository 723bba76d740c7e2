// SPDX-License-Identifier: MIT
#include "app/overwrite/overwrite_page_private.h"

#include "app/overwrite/check_words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QPushButton>
#include <QVBoxLayout>

namespace espalier {

namespace {

QString counted(std::size_t number, const char* one, const char* many)
{
    return toText(espalier::counted(number, one, many));
}

std::size_t replacedBy(const OverwriteCheck& check)
{
    return check.pairs.size() + check.removed.size() + check.foreign.size();
}

QString meaningOf(const OverwriteCheck& check)
{
    if (check.upToDate)
        return OverwritePage::tr("The fork already has this branch as it is here.");
    if (check.remoteTip.isZero())
        return OverwritePage::tr("The fork has no branch of this name. A push creates it and replaces nothing.");
    if (check.fastForward)
        return OverwritePage::tr("The fork's branch is below yours: a plain push adds to it and replaces nothing.");
    if (replacedBy(check) == 0)
        return OverwritePage::tr("The fork's branch stands at %1, yours at %2. A plain push would be refused; a forced "
                                 "update moves it, and what stands there stays on upstream. It goes through only while "
                                 "the fork still stands at %1.")
            .arg(toText(check.remoteTip.brief()), toText(check.localTip.brief()));
    return OverwritePage::tr("The fork's branch stands at %1, yours at %2. A plain push would be refused; a forced "
                             "update replaces %3. It goes through only while the fork still stands at %1.")
        .arg(toText(check.remoteTip.brief()), toText(check.localTip.brief()),
             counted(replacedBy(check), "commit", "commits"));
}

QString writtenByOthers(const OverwriteCheck& check)
{
    const std::vector<CommitSummary> others = othersOf(check.pairs);
    if (others.empty())
        return {};
    const QString people = toText(authorsOf(others));
    return QLatin1Char(' ') + (others.size() == check.pairs.size()
                                   ? OverwritePage::tr("All were written by %1.").arg(people)
                                   : OverwritePage::tr("Of these, %1 written by %2.").arg(others.size()).arg(people));
}

PushRequest requestFor(const OverwriteCheck& check)
{
    PushRequest request;
    request.branch = check.branch;
    request.remote = check.remote;
    if (!check.fastForward)
        request.expect = check.remoteTip;
    return request;
}

} // namespace

void OverwritePage::Private::checkAgain()
{
    if (!session)
        return;
    std::vector<std::string> branches;
    for (const OverwriteCheck& check : checks)
        branches.push_back(check.branch);
    session->checkOverwrite(branches, [this](const Result<std::vector<OverwriteCheck>>& fresh) {
        if (fresh)
            page->showFor(*fresh);
        else
            page->showRefused(toText(fresh.error().line()));
    });
}

void OverwritePage::Private::askForPush()
{
    std::vector<PushRequest> requests;
    for (const OverwriteCheck* check : wanted())
        requests.push_back(requestFor(*check));
    push->setEnabled(false);
    for (const PushRequest& request : requests)
        Q_EMIT page->pushRequested(request);
    if (session)
        session->push(requests, [this, branch = page->check().branch](const Result<std::vector<Pushed>>& pushed) {
            // Another branch's check may be shown by now.
            if (branch != page->check().branch)
                pushed ? void() : Q_EMIT session->failed(toText(pushed.error().line()));
            else if (pushed)
                page->showPushed(*pushed);
            else
                page->showRefused(toText(pushed.error().line()));
        });
}

void OverwritePage::Private::fill()
{
    while (QLayoutItem* item = body->takeAt(0)) {
        delete item->widget();
        delete item;
    }
    chosen.assign(checks.size(), nullptr);
    for (std::size_t i = 0; i < checks.size(); ++i) {
        if (isSeveral())
            addChoice(i);
        addLoss(checks[i]);
    }
    above->setVisible(body->count() > 0);
    fillPicture();
    lookAround();
}

// A branch among several: its name, whether it goes along, and what that would do.
void OverwritePage::Private::addChoice(std::size_t number)
{
    const OverwriteCheck& check = checks[number];
    auto* card = new Card(bodyWidget);
    auto* inside = page::cardColumn(card);
    inside->setSpacing(theme::gap(page) / 4);
    const QString name = toText(check.branch);
    if (check.upToDate) {
        auto* label = new PlainLabel(name, card);
        label->setFont(theme::sized(page->font(), 1.05, true));
        inside->addWidget(label);
    } else {
        auto* box = new QCheckBox(tr("Push %1").arg(toCaption(name)), card);
        box->setObjectName(QStringLiteral("choose-%1").arg(name));
        box->setToolTip(toToolTip(name));
        box->setFont(theme::sized(page->font(), 1.05, true));
        // What was never published is published by asking for it only.
        box->setChecked(number == 0 || !check.remoteTip.isZero());
        QObject::connect(box, &QCheckBox::toggled, page, [this] {
            understood->setChecked(false);
            update();
        });
        chosen[number] = box;
        inside->addWidget(box);
    }
    auto* text = new PlainLabel(meaningOf(check), card);
    text->setWrapped(true);
    inside->addWidget(text);
    body->addWidget(card);
}

// Loudest, and said here and nowhere else in words; the picture shows which.
void OverwritePage::Private::addLoss(const OverwriteCheck& check)
{
    if (check.foreign.empty())
        return;
    const QString lost = counted(check.foreign.size(), "commit", "commits");
    const QString there = toText(check.remote + "/" + check.branch);
    auto* card = new Card(bodyWidget);
    card->setAccent(theme::danger);
    auto* column = page::cardColumn(card);
    column->setSpacing(theme::gap(page) / 2);
    auto* heading = new PlainLabel(tr("Of others, without a counterpart, lost if overwritten: %1 by %2")
                                       .arg(lost, toText(authorsOf(check.foreign))),
                                   card);
    heading->setFont(theme::sized(page->font(), 1.2, true));
    heading->setWrapped(true); // names of people: none may be cut
    theme::keepColour(heading, QPalette::WindowText, theme::danger);
    auto* text = new PlainLabel(
        check.foreign.size() == 1
            ? tr("It is on the fork and nowhere in your clone's branch. To keep it, carry it over from %1 onto your "
                 "branch first, or ask its author.")
                  .arg(there)
            : tr("They are on the fork and nowhere in your clone's branch. To keep them, carry them over from %1 onto "
                 "your branch first, or ask their authors.")
                  .arg(there),
        card);
    text->setWrapped(true);
    column->addWidget(heading);
    column->addWidget(text);
    body->addWidget(card);
}

void OverwritePage::Private::fillPicture()
{
    std::vector<PictureBranch> branches;
    std::vector<CheckRow> all;
    QString written;
    rows.clear();
    for (const OverwriteCheck& check : checks) {
        rows.push_back(rowsOf(check));
        all.insert(all.end(), rows.back().begin(), rows.back().end());
        written += writtenByOthers(check);
        branches.push_back({isSeveral() ? toText(check.branch) : QString(), rows.back()});
    }
    summary->setText(all.empty() ? tr("There is no commit to show.") : checkSummary(all) + QLatin1Char('.') + written);
    picture->setSnapshot(session ? session->snapshot() : nullptr);
    picture->show(std::move(branches));
}

// What can be said of the whole in a sentence stands in the head.
void OverwritePage::Private::updateSentence()
{
    if (isSeveral())
        return;
    QString sentence = meaningOf(check());
    const Surroundings& known = around.front();
    if (known.difference && !check().fastForward)
        sentence += QLatin1Char(' ') + tr("On the whole %1, the upstream's own changes taken out.")
                                           .arg(toText(differenceWords(*known.difference)));
    if (!known.standing.empty())
        sentence += QLatin1Char(' ') + tr("%1 in the clone also %2 old commits.")
                                           .arg(counted(known.standing.size(), "other ref", "other refs"),
                                                known.standing.size() == 1 ? tr("has") : tr("have"));
    head->setSentence(sentence);
}

// Side by side where it is wide enough for both, else one above the other; what is read first never takes all the room.
void OverwritePage::Private::arrange()
{
    const int em = page->fontMetrics().averageCharWidth();
    const Qt::Orientation wanted =
        page->width() >= em * 100 || page->width() > page->height() ? Qt::Horizontal : Qt::Vertical;
    if (splitter->orientation() != wanted || splitter->property("fresh").isNull()) {
        splitter->setProperty("fresh", false);
        splitter->setOrientation(wanted);
        splitter->setSizes(wanted == Qt::Horizontal ? QList<int>{3 * page->width(), 2 * page->width()}
                                                    : QList<int>{page->height(), page->height()});
    }
    const int line = page->fontMetrics().height();
    const int least = std::min(above->maximumHeight(), std::clamp(page->height() / 4, 4 * line, 9 * line));
    if (above->minimumHeight() != least)
        above->setMinimumHeight(least);
}

void OverwritePage::Private::update()
{
    const std::vector<CheckedCommit> lost = foreign();
    understood->setVisible(!lost.empty() && !done);
    understood->setText(tr("&I have read that %1 by %2 will be lost from the fork")
                            .arg(counted(lost.size(), "commit", "commits"), toCaption(toText(authorsOf(lost)))));
    for (QCheckBox* box : chosen)
        if (box)
            box->setEnabled(!done && !refused);
    updateButton();
    push->setEnabled(!done && !refused && !wanted().empty() && (lost.empty() || understood->isChecked()));
    push->setDefault(true);
    // Red says that somebody else's work goes; replacing one's own old versions is what the page is for.
    push->setProperty("danger", !lost.empty());
    push->update();
}

void OverwritePage::Private::updateButton()
{
    const std::vector<const OverwriteCheck*> all = wanted();
    std::size_t replaced = 0, added = 0;
    for (const OverwriteCheck* check : all) {
        replaced += check->fastForward ? 0 : replacedBy(*check);
        added += check->added.size();
    }
    const bool onlyForwards = std::ranges::all_of(all, &OverwriteCheck::fastForward);
    if (done || all.empty())
        push->setText(tr("Nothing to push"));
    else if (all.size() > 1)
        push->setText(
            onlyForwards ? tr("P&ush %1 together").arg(counted(all.size(), "branch", "branches"))
                         : tr("Rep&lace %1 on the fork, %2 together")
                               .arg(counted(replaced, "commit", "commits"), counted(all.size(), "branch", "branches")));
    else if (onlyForwards)
        push->setText(all.front()->remoteTip.isZero() ? tr("Push the &new branch")
                                                      : tr("P&ush %1").arg(counted(added, "commit", "commits")));
    else if (replaced == 0)
        push->setText(tr("&Move the fork's branch to yours"));
    else
        push->setText(tr("Rep&lace %1 on the fork").arg(counted(replaced, "commit", "commits")));
}

OverwritePage::OverwritePage(Session* session, QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    d->page = this;
    d->session = session;
    d->checks.emplace_back();
    d->around.emplace_back();
    setAccessibleName(tr("Overwrite check"));
    d->build();
    d->update();
    if (session)
        connect(session, &Session::snapshotChanged, this, [this] {
            d->picture->setSnapshot(d->session->snapshot());
            if (isVisible())
                d->lookForOthers();
        });
}

OverwritePage::~OverwritePage() = default;

const OverwriteCheck& OverwritePage::check() const { return d->checks.front(); }

bool OverwritePage::event(QEvent* event)
{
    const bool handled = QWidget::event(event);
    if (d->splitter && (event->type() == QEvent::Resize || event->type() == QEvent::LayoutRequest))
        d->arrange();
    return handled;
}

void OverwritePage::showFor(const OverwriteCheck& check) { showFor(std::vector{check}); }

void OverwritePage::showFor(const std::vector<OverwriteCheck>& checks)
{
    d->checks = checks;
    // One push goes to one remote.
    std::erase_if(d->checks, [&](const OverwriteCheck& check) { return check.remote != checks.front().remote; });
    const std::size_t elsewhere = checks.size() - d->checks.size();
    d->done = d->refused = false;
    d->understood->setChecked(false);
    d->notice->clear();
    const QString first = toText(check().branch);
    if (d->isSeveral()) {
        d->head->setTitle(tr("Overwrite check: %1 and %2")
                              .arg(first, counted(d->checks.size() - 1, "other branch", "other branches")));
        d->head->setSentence(
            tr("These branches moved together. What is ticked is pushed in one step, each branch only while the fork "
               "stands where it is shown: all or none where the server offers that, else one by one.") +
            (elsewhere == 0 ? QString() : QLatin1Char(' ') + tr("What goes to another remote is pushed by itself.")));
    } else {
        d->head->setTitle(tr("Overwrite check: %1").arg(first));
        d->head->setSentence(meaningOf(check()));
    }
    d->fill();
    d->update();
    (d->push->isEnabled() ? d->push : d->close)->setFocus();
}

void OverwritePage::showPushed(const Pushed& pushed) { showPushed(std::vector{pushed}); }

void OverwritePage::showPushed(const std::vector<Pushed>& all)
{
    d->done = true;
    const Pushed& pushed = all.front();
    const bool forced = std::ranges::any_of(all, &Pushed::forced);
    const QString branch = toText(pushed.branch), tip = toText(pushed.now.brief());
    QString line;
    if (all.size() > 1)
        line = tr("Done: %1 on the fork stand as in the clone.").arg(counted(all.size(), "branch", "branches")) +
               (forced ? QLatin1Char(' ') + tr("The old tips are kept; the logbook takes them back.") : QString());
    else if (forced)
        line = tr("Done: the fork's %1 went from %2 to %3. The old tip is kept; the logbook takes it back.")
                   .arg(branch, toText(pushed.old.brief()), tip);
    else
        line = tr("Done: the fork's %1 is at %2.").arg(branch, tip);
    d->notice->say(NoticeBar::Good, line);
    d->update();
    d->close->setFocus();
}

void OverwritePage::showRefused(const QString& line)
{
    d->refused = true;
    d->understood->setChecked(false);
    d->notice->say(NoticeBar::Trouble, line + QLatin1Char(' ') + tr("Check again before you go on."));
    d->update();
    d->again->setFocus();
}

} // namespace espalier
