// SPDX-License-Identifier: MIT
#include "app/overwrite/check_detail.h"

#include "app/history/diff_view.h"
#include "app/overwrite/check_words.h"
#include "app/support/page.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"

#include <QHeaderView>
#include <QPushButton>
#include <QStackedLayout>
#include <QTimer>
#include <QToolButton>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

namespace {

// A view with more lines takes its time to fill; who wants more looks at the commit in the history.
constexpr std::size_t mostLines = 2000;

// What is to be seen of a row: of a pair the difference of the two changes, else the commit's own change.
Result<FileChange> changeOf(const std::string& path, const CheckRow& row, const Progress& progress)
{
    const auto repository = Repository::open(path);
    if (!repository)
        return std::unexpected(repository.error());
    if (row.before && row.now && row.state != CheckState::Kept) {
        auto difference = differenceOfChanges(*repository, row.before->id, row.now->id, progress);
        if (difference)
            cutLines(*difference, mostLines);
        return difference;
    }
    const auto changes = changesOf(*repository, (row.now ? row.now : row.before)->id, {}, progress);
    if (!changes)
        return std::unexpected(changes.error());
    return joinedChanges(*changes, mostLines);
}

} // namespace

struct CheckDetail::Private {
    CheckDetail* q;
    std::string path;
    QToolButton* buttons[3]{};
    QStackedLayout* stack = nullptr;
    // The chosen commit.
    PlainLabel* subject = nullptr;
    PlainLabel* facts = nullptr;
    PlainLabel* meaning = nullptr;
    DiffView* diff = nullptr;
    QPushButton* history = nullptr;
    // The whole branch.
    PlainLabel* whole = nullptr;
    PlainLabel* conflicts = nullptr;
    DiffView* wholeDiff = nullptr;
    // What else stands there.
    PlainLabel* standing = nullptr;
    QTreeWidget* others = nullptr;

    std::optional<CheckRow> row;
    QPointer<Work> work;
    QTimer delay;
    int asked = 0;

    void build();
    void showPart(int part);
    QWidget* buildCommit();
    QWidget* buildWhole();
    QWidget* buildStanding();
    PlainLabel* label(QWidget* parent, QVBoxLayout* column) const;
    void fillFacts();
    void load();
    void show(const Result<FileChange>& change);
};

void CheckDetail::Private::showPart(int part)
{
    for (int at = 0; at < 3; ++at)
        buttons[at]->setChecked(at == part);
    stack->setCurrentIndex(part);
}

void CheckDetail::Private::build()
{
    const int space = theme::gap(q);
    auto* column = page::cardColumn(q);
    auto* choices = new QHBoxLayout;
    choices->setSpacing(space / 2);
    const QString names[] = {tr("Cho&sen commit"), tr("&Whole branch"), tr("&Others on it")};
    for (int at = 0; at < 3; ++at) {
        auto* button = new QToolButton(q);
        button->setText(names[at]);
        button->setCheckable(true);
        button->setAutoRaise(true);
        button->setFocusPolicy(Qt::StrongFocus);
        button->setObjectName(QStringLiteral("part-%1").arg(at));
        // Not as an exclusive group: of that Tab reaches the checked one only.
        QObject::connect(button, &QToolButton::clicked, q, [this, at] { showPart(at); });
        choices->addWidget(button);
        buttons[at] = button;
    }
    choices->addStretch(1);
    auto* shown = new QWidget(q);
    stack = new QStackedLayout(shown);
    stack->addWidget(buildCommit());
    stack->addWidget(buildWhole());
    stack->addWidget(buildStanding());
    column->addLayout(choices);
    column->addWidget(shown, 1);
    showPart(Commit);
    delay.setSingleShot(true);
    delay.setInterval(60); // whoever holds a key down passes many
    QObject::connect(&delay, &QTimer::timeout, q, [this] { load(); });
}

PlainLabel* CheckDetail::Private::label(QWidget* parent, QVBoxLayout* column) const
{
    auto* made = new PlainLabel(parent);
    made->setWrapped(true);
    column->addWidget(made);
    return made;
}

namespace {
QVBoxLayout* bareColumn(QWidget* widget)
{
    auto* column = new QVBoxLayout(widget);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(theme::gap(widget) / 2);
    return column;
}
} // namespace

QWidget* CheckDetail::Private::buildCommit()
{
    auto* made = new QWidget(q);
    auto* column = bareColumn(made);
    subject = new PlainLabel(made);
    subject->setFont(theme::sized(q->font(), 1.1, true));
    column->addWidget(subject);
    facts = label(made, column);
    page::quieten(facts);
    meaning = label(made, column);
    diff = new DiffView(made);
    diff->setAccessibleName(tr("What differs in the chosen commit"));
    diff->setObjectName(QStringLiteral("difference"));
    column->addWidget(diff, 1);
    history = new QPushButton(tr("Show in the histor&y"), made);
    history->setObjectName(QStringLiteral("showInHistory"));
    column->addWidget(history, 0, Qt::AlignLeft);
    QObject::connect(history, &QPushButton::clicked, q, [this] {
        if (row)
            Q_EMIT q->commitRequested((row->now ? row->now : row->before)->id);
    });
    return made;
}

QWidget* CheckDetail::Private::buildWhole()
{
    auto* made = new QWidget(q);
    auto* column = bareColumn(made);
    whole = label(made, column);
    conflicts = label(made, column);
    theme::keepColour(conflicts, QPalette::WindowText, theme::warning);
    wholeDiff = new DiffView(made);
    wholeDiff->setAccessibleName(tr("What differs in the whole branch"));
    wholeDiff->setObjectName(QStringLiteral("wholeDifference"));
    column->addWidget(wholeDiff, 1);
    return made;
}

QWidget* CheckDetail::Private::buildStanding()
{
    auto* made = new QWidget(q);
    auto* column = bareColumn(made);
    standing = label(made, column);
    others = new QTreeWidget(made);
    others->setHeaderHidden(true);
    others->setRootIsDecorated(false);
    others->setFrameShape(QFrame::NoFrame);
    others->setUniformRowHeights(true);
    others->setAccessibleName(tr("What else stands on the old commits"));
    others->setObjectName(QStringLiteral("standing"));
    column->addWidget(others, 1);
    return made;
}

void CheckDetail::Private::fillFacts()
{
    subject->setText(toText((row->now ? row->now : row->before)->subject));
    QStringList words;
    const auto one = [&](const CheckedCommit& commit, const QString& where) {
        words << tr("%1 %2, %3").arg(toText(commit.id.brief()), where, relativeTime(commit.authorTime));
    };
    if (row->state == CheckState::Kept) {
        one(*row->now, tr("on the fork and in the clone"));
    } else {
        if (row->before)
            one(*row->before, tr("on the fork"));
        if (row->now)
            one(*row->now, row->state == CheckState::Landed ? tr("upstream") : tr("in the clone"));
    }
    facts->setText(words.join(QStringLiteral(" \u2192 ")));
    meaning->setText(stateMeaning(*row));
}

void CheckDetail::Private::load()
{
    if (!row || path.empty())
        return;
    const int mine = asked;
    work = startWork<FileChange>(
        q, tr("Comparing the versions"),
        [path = path, row = *row](const Progress& progress) { return changeOf(path, row, progress); },
        [this, mine](const Result<FileChange>& change) {
            if (mine == asked)
                show(change);
        });
}

void CheckDetail::Private::show(const Result<FileChange>& change)
{
    if (!change)
        diff->showNote(toText(change.error().line()));
    else if (change->hunks.empty() && !change->tooBig)
        diff->showNote(row->before && row->now && row->state != CheckState::Kept
                           ? tr("Same change: message and changed lines are the same in both versions.")
                           : tr("Nothing changed."));
    else
        diff->show(*change);
    Q_EMIT q->loaded();
}

CheckDetail::CheckDetail(QWidget* parent) : Card(parent), d(std::make_unique<Private>())
{
    d->q = this;
    d->build();
    clear({});
}

CheckDetail::~CheckDetail() = default;

void CheckDetail::setRepository(const QString& path) { d->path = toBytes(path); }

void CheckDetail::clear(const QString& words)
{
    if (d->work)
        d->work->cancel();
    ++d->asked;
    d->delay.stop();
    d->row.reset();
    d->subject->setText(words);
    d->facts->setText({});
    d->meaning->setText({});
    d->diff->showNote({});
    d->history->setEnabled(false);
    showWhole({});
    showStanding({});
}

void CheckDetail::showRow(const CheckRow& row)
{
    if (d->work)
        d->work->cancel();
    ++d->asked;
    d->row = row;
    d->fillFacts();
    d->history->setEnabled(true);
    d->diff->showNote({});
    d->delay.start();
}

void CheckDetail::showWhole(const std::optional<BranchDifference>& difference, const QString& line)
{
    d->conflicts->setVisible(difference && !difference->conflicts.empty());
    if (!difference) {
        d->whole->setText(line);
        d->wholeDiff->showNote({});
        return;
    }
    d->whole->setText(
        tr("On the whole %1, between what the fork has and what it will have, the upstream's own changes taken "
           "out.")
            .arg(toText(differenceWords(*difference))));
    QStringList paths;
    constexpr std::size_t most = 8;
    for (std::size_t at = 0; at < std::min(most, difference->conflicts.size()); ++at)
        paths << toText(difference->conflicts[at]);
    if (difference->conflicts.size() > most)
        paths << tr("%1 more").arg(difference->conflicts.size() - most);
    d->conflicts->setText(
        tr("The fork's version does not go onto the new base by itself in: %1. Markers show where both "
           "changed the same lines.")
            .arg(paths.join(QStringLiteral(", "))));
    if (difference->changes.files.empty())
        d->wholeDiff->showNote(tr("Nothing differs: the fork gets what it has, on the new base."));
    else
        d->wholeDiff->show(joinedChanges(difference->changes, mostLines));
}

void CheckDetail::showStanding(const std::vector<StandsOn>& standing, bool known)
{
    d->others->clear();
    QList<QTreeWidgetItem*> items;
    for (const StandsOn& other : standing) {
        QString words = toText(standsOnWords(other));
        words[0] = words[0].toUpper();
        auto* item = new QTreeWidgetItem({words});
        item->setToolTip(0, toToolTip(toText(other.ref) + QLatin1Char('\n') + words));
        items << item;
    }
    d->others->addTopLevelItems(items);
    d->others->setVisible(!items.isEmpty());
    const bool request = std::ranges::contains(standing, StandsOn::PullRequest, &StandsOn::kind);
    const bool local = std::ranges::contains(standing, StandsOn::LocalBranch, &StandsOn::kind);
    QString words = standing.empty()
                        ? tr("No other branch, pull request or tag that this clone knows of has the old commits.")
                        : tr("These have old commits and are not moved by the push.");
    if (local)
        words += QLatin1Char(' ') + tr("Replay branches of yours that stand on them, or they bring the old ones back.");
    if (request)
        words += QLatin1Char(' ') +
                 tr("A pull request follows its branch on the fork: the one for this branch will show the "
                    "new version.");
    d->standing->setText(known ? words : tr("Not known yet."));
    d->buttons[Standing]->setText(standing.empty() ? tr("&Others on it")
                                                   : tr("&Others on it (%1)").arg(standing.size()));
}

void CheckDetail::choose(Part part) { d->showPart(part); }

CheckDetail::Part CheckDetail::part() const { return Part(d->stack->currentIndex()); }

void CheckDetail::focusShown()
{
    QWidget* shown[] = {d->diff, d->wholeDiff, d->others};
    shown[part()]->setFocus(Qt::OtherFocusReason);
}

} // namespace espalier
