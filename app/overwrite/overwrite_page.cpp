// SPDX-License-Identifier: MIT
#include "app/overwrite/overwrite_page.h"

#include "app/overwrite/base_strip.h"
#include "app/overwrite/check_detail.h"
#include "app/overwrite/check_words.h"
#include "app/overwrite/pair_picture.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QPushButton>
#include <QSplitter>
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

// What is found out about a branch once its check is shown.
struct Surroundings {
    std::optional<BranchDifference> difference;
    QString why; // it is not known and will not be
    std::vector<StandsOn> standing;
    bool standingKnown = false;
};

struct OverwritePage::Private {
    OverwritePage* page;
    Session* session;
    std::vector<OverwriteCheck> checks; // one at least; the branch that was asked about first
    std::vector<std::vector<CheckRow>> rows;
    std::vector<Surroundings> around; // both beside the checks
    std::vector<QCheckBox*> chosen;   // beside the checks, where there are several; null: nothing to push
    std::vector<QPointer<Work>> works;
    int shown = 0; // counts what was shown: an answer to what stood here before is dropped
    PageHead* head = nullptr;
    NoticeBar* notice = nullptr;
    FittingArea* above = nullptr; // what is to be read and ticked first
    QVBoxLayout* body = nullptr;
    QWidget* bodyWidget = nullptr;
    QSplitter* splitter = nullptr;
    PlainLabel* summary = nullptr;
    PairPicture* picture = nullptr;
    BaseStrip* bases = nullptr;
    CheckDetail* detail = nullptr;
    QCheckBox* understood = nullptr;
    QPushButton* push = nullptr;
    QPushButton* again = nullptr;
    QPushButton* close = nullptr;
    bool onHeading = false; // a branch's, not a commit, was chosen in the picture
    bool done = false;
    bool refused = false; // by the remote: the check is old now

    const OverwriteCheck& check() const { return checks.front(); }
    bool isSeveral() const { return checks.size() > 1; }
    bool isChosen(std::size_t number) const
    {
        return !checks[number].upToDate && (!isSeveral() || (chosen[number] && chosen[number]->isChecked()));
    }
    // What would be pushed now.
    std::vector<const OverwriteCheck*> wanted() const
    {
        std::vector<const OverwriteCheck*> found;
        for (std::size_t i = 0; i < checks.size(); ++i)
            if (isChosen(i))
                found.push_back(&checks[i]);
        return found;
    }
    std::vector<CheckedCommit> foreign() const
    {
        std::vector<CheckedCommit> all;
        for (const OverwriteCheck* check : wanted())
            all.insert(all.end(), check->foreign.begin(), check->foreign.end());
        return all;
    }

    void build();
    void buildPicture();
    void buildActions(QVBoxLayout* column);
    void fill();
    void addChoice(std::size_t number);
    void addLoss(const OverwriteCheck& check);
    void fillPicture();
    void lookAround();
    void lookAtBranch(std::size_t number);
    void lookForOthers();
    void showChosen(int branch, int row);
    void showSurroundings();
    void arrange();
    void checkAgain();
    void askForPush();
    void update();
    void updateButton();
    void updateSentence();
};

void OverwritePage::Private::build()
{
    auto* column = new QVBoxLayout(page);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(theme::gap(page));
    head = new PageHead(QString(), page);
    notice = new NoticeBar(page);
    above = new FittingArea(page);
    above->setAccessibleName(tr("What the push would replace"));
    bodyWidget = above->widget();
    body = new QVBoxLayout(bodyWidget);
    body->setContentsMargins(0, 0, 0, 0);
    body->setSpacing(theme::gap(page));
    column->addWidget(head);
    column->addWidget(notice);
    column->addWidget(above);
    buildPicture();
    column->addWidget(splitter, 1);
    buildActions(column);
}

void OverwritePage::Private::buildPicture()
{
    const int space = theme::gap(page);
    splitter = new QSplitter(page);
    splitter->setChildrenCollapsible(false);
    splitter->setHandleWidth(space);
    splitter->setObjectName(QStringLiteral("parts"));
    auto* card = new Card(splitter);
    auto* column = page::tableColumn(card);
    column->setSpacing(space / 2);
    summary = new PlainLabel(card);
    summary->setWrapped(true);
    picture = new PairPicture(card);
    picture->setMinimumHeight(page->fontMetrics().height() * 6);
    picture->setMinimumWidth(page->fontMetrics().averageCharWidth() * 40);
    bases = new BaseStrip(picture, card);
    page::addToTable(column, summary);
    // The lanes go on from one into the other.
    auto* lanes = new QVBoxLayout;
    lanes->setSpacing(0);
    lanes->addWidget(picture, 1000);
    lanes->addWidget(bases, 1);
    lanes->addStretch(0);
    column->addLayout(lanes, 1);
    detail = new CheckDetail(splitter);
    detail->setMinimumWidth(page->fontMetrics().averageCharWidth() * 34);
    detail->setMinimumHeight(page->fontMetrics().height() * 9);
    QObject::connect(picture, &PairPicture::chosen, page, [this](int branch, int row) { showChosen(branch, row); });
    QObject::connect(picture, &QTreeWidget::itemActivated, page, [this] {
        detail->choose(picture->currentRow() < 0 ? CheckDetail::Whole : CheckDetail::Commit);
        detail->focusShown();
    });
    QObject::connect(detail, &CheckDetail::commitRequested, page, &OverwritePage::commitChosen);
}

void OverwritePage::Private::buildActions(QVBoxLayout* column)
{
    auto* card = new Card(page);
    auto* inside = page::cardColumn(card);
    understood = new QCheckBox(card);
    auto* row = new QHBoxLayout;
    push = new QPushButton(card);
    push->setObjectName(QStringLiteral("push"));
    again = new QPushButton(tr("Check &again"), card);
    again->setObjectName(QStringLiteral("checkAgain"));
    close = new QPushButton(tr("&Close"), card);
    close->setObjectName(QStringLiteral("close"));
    row->addWidget(push);
    row->addWidget(again);
    row->addWidget(close);
    row->addStretch(1);
    inside->addWidget(understood);
    inside->addLayout(row);
    column->addWidget(card);
    QObject::connect(understood, &QCheckBox::toggled, page, [this] { update(); });
    QObject::connect(close, &QPushButton::clicked, page, &OverwritePage::closed);
    QObject::connect(again, &QPushButton::clicked, page, [this] { checkAgain(); });
    QObject::connect(push, &QPushButton::clicked, page, [this] { askForPush(); });
}

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

// What takes longer than a look: read in the background, shown when it is known.
void OverwritePage::Private::lookAround()
{
    for (const QPointer<Work>& work : works)
        if (work)
            work->cancel();
    works.clear();
    ++shown;
    around.assign(checks.size(), {});
    detail->setRepository(session ? session->path() : QString());
    detail->clear(tr("No commit is chosen."));
    for (std::size_t i = 0; i < checks.size(); ++i)
        lookAtBranch(i);
    lookForOthers();
    showChosen(picture->currentBranch(), picture->currentRow());
}

void OverwritePage::Private::lookAtBranch(std::size_t number)
{
    const OverwriteCheck& check = checks[number];
    if (check.upToDate || check.remoteTip.isZero())
        around[number].why = check.upToDate ? tr("The fork has the branch as it is here.")
                                            : tr("The fork has no such branch yet: all of it is new there.");
    if (!session || session->path().isEmpty() || check.upToDate)
        return;
    works.push_back(startWork<BranchDifference>(
        page, tr("Comparing the whole of %1").arg(toText(check.branch)),
        [path = toBytes(session->path()), check](const Progress& progress) -> Result<BranchDifference> {
            const auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            return branchDifference(*repository, check, progress);
        },
        [this, number, mine = shown](const Result<BranchDifference>& difference) {
            if (mine != shown)
                return;
            if (difference)
                around[number].difference = *difference;
            else
                around[number].why = toText(difference.error().line());
            showSurroundings();
            Q_EMIT page->surroundingsShown();
        }));
}

// The check has fetched: the session's snapshot may be older, and is asked again when there is a newer one.
void OverwritePage::Private::lookForOthers()
{
    const SnapshotPtr snapshot = session ? session->snapshot() : nullptr;
    if (!snapshot)
        return;
    std::erase_if(works, [](const QPointer<Work>& work) { return !work; });
    works.push_back(startWork<std::vector<std::vector<StandsOn>>>(
        page, tr("Looking for what else has the old commits"),
        [snapshot, checks = checks](const Progress& progress) -> Result<std::vector<std::vector<StandsOn>>> {
            std::vector<std::vector<StandsOn>> found;
            for (const OverwriteCheck& check : checks) {
                if (progress.stopped())
                    return cancelled();
                found.push_back(whatStandsOn(*snapshot, check));
            }
            return found;
        },
        [this, snapshot, mine = shown](const Result<std::vector<std::vector<StandsOn>>>& found) {
            if (mine != shown || !found || snapshot != session->snapshot())
                return;
            for (std::size_t i = 0; i < checks.size(); ++i) {
                const bool known = checks[i].remoteTip.isZero() || snapshot->history.find(checks[i].remoteTip) != noRow;
                // Once it is pushed no ref of the snapshot has the old tip any more; what was found before stays.
                if (!known && around[i].standingKnown)
                    continue;
                around[i].standing = (*found)[i];
                around[i].standingKnown = known;
            }
            showSurroundings();
            Q_EMIT page->surroundingsShown();
        },
        WorkPriority::Background));
}

void OverwritePage::Private::showChosen(int branch, int row)
{
    if (branch >= 0 && row >= 0) {
        if (onHeading)
            detail->choose(CheckDetail::Commit);
        detail->showRow(rows[std::size_t(branch)][std::size_t(row)]);
    } else if (branch >= 0) {
        detail->choose(CheckDetail::Whole);
    }
    onHeading = branch >= 0 && row < 0;
    showSurroundings();
}

void OverwritePage::Private::showSurroundings()
{
    const auto at = std::size_t(std::max(0, picture->currentBranch()));
    const Surroundings& known = around[at];
    detail->showWhole(known.why.isEmpty() ? known.difference : std::nullopt,
                      known.why.isEmpty() ? tr("Not known yet.") : known.why);
    detail->showStanding(known.standing, known.standingKnown);
    const auto has = [&](auto&& is) { return at < rows.size() && std::ranges::any_of(rows[at], is); };
    const bool old = has([](const CheckRow& row) { return row.before.has_value(); });
    const bool now = has([](const CheckRow& row) {
        return row.now && row.state != CheckState::Landed && row.state != CheckState::Kept;
    });
    // One line comes down where the new version has left what both have.
    const bool joined = has([](const CheckRow& row) { return row.state == CheckState::Kept; });
    // Among several branches the lanes that come down are not those of the chosen one.
    if (!session || isSeveral() || checks[at].upToDate)
        bases->show(std::nullopt, false, false);
    else
        bases->show(known.difference, old, now && !joined);
    updateSentence();
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
