// SPDX-License-Identifier: MIT
#include "app/history/graph_view_private.h"

#include "app/history/filter_bar.h"
#include "app/history/graph_drag.h"
#include "app/history/graph_header.h"
#include "app/history/graph_list.h"
#include "app/history/row_menu.h"
#include "app/history/words.h"
#include "app/support/text.h"

#include <QAction>
#include <QDataStream>
#include <QPushButton>
#include <QScrollBar>
#include <QVBoxLayout>

namespace espalier {

namespace {
constexpr quint8 stateVersion = 2;
} // namespace

void GraphView::Private::startSearch()
{
    if (searching)
        searching->cancel();
    ++searchCount; // an answer that is on its way is too late
    matches.clear();
    if (query.empty() || !snapshot) {
        filter->setResult(QString());
        const bool narrowed = filter->onlyMatches();
        filter->setOnlyMatches(false);
        if (narrowed)
            layOutAgain();
        showMatches();
        return;
    }
    filter->setResult(tr("Searching\u2026"));
    const auto job = [snapshot = snapshot, query = query](const Progress& progress) -> Result<std::vector<Row>> {
        const auto repository = Repository::open(snapshot->path);
        if (!repository)
            return std::unexpected(repository.error());
        return search(*repository, *snapshot, query, progress);
    };
    const auto then = [this, asked = ++searchCount](const Result<std::vector<Row>>& found) {
        if (asked != searchCount)
            return;
        searching.clear();
        if (!found) {
            filter->setResult(QString::fromStdString(found.error().line()), true);
            return;
        }
        matches = *found;
        if (filter->onlyMatches())
            layOutAgain();
        else
            showMatches();
    };
    searching = startWork<std::vector<Row>>(q, tr("Searching"), job, then);
}

void GraphView::Private::showMatches()
{
    std::vector<int> rows;
    for (Row row : matches)
        if (const LanesPtr& lanes = model->lanes())
            if (const auto display = lanes->displayRowOf(row))
                rows.push_back(int(*display));
    std::ranges::sort(rows);
    const auto repeated = std::ranges::unique(rows);
    rows.erase(repeated.begin(), repeated.end());
    if (!query.empty() && !(searching && matches.empty()))
        filter->setResult(matches.empty() ? tr("Nothing found") : tr("%1 found").arg(matches.size()), matches.empty());
    list->setMatches(std::move(rows));
}

void GraphView::Private::step(int direction)
{
    const std::vector<int>& rows = list->matches();
    if (rows.empty())
        return;
    const int from = list->current();
    auto at = direction > 0 ? std::ranges::upper_bound(rows, from) : std::ranges::lower_bound(rows, from);
    if (direction > 0 && at == rows.end())
        at = rows.begin();
    if (direction < 0)
        at = at == rows.begin() ? rows.end() - 1 : at - 1;
    list->centre(*at);
    list->setCurrent(*at);
    filter->setResult(tr("%1 of %2").arg(at - rows.begin() + 1).arg(rows.size()));
}

GraphView::GraphView(QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    d->q = this;
    d->filter = new FilterBar(this);
    d->hint = new NoticeBar(this);
    d->header = new GraphHeader(this);
    d->model = new HistoryModel(this);
    d->list = new GraphList(d->model, this);
    auto* column = new QVBoxLayout(this);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(0);
    for (QWidget* part :
         {static_cast<QWidget*>(d->filter), static_cast<QWidget*>(d->hint), static_cast<QWidget*>(d->header)})
        column->addWidget(part);
    column->addWidget(d->list, 1);
    setFocusProxy(d->list);
    d->hint->clear();

    // How much is gathered in a focus goes by the room there is, also when the window gets its size after the layout. Together
    // for all steps of a change.
    d->roomChanged.setSingleShot(true);
    d->roomChanged.setInterval(0);
    connect(&d->roomChanged, &QTimer::timeout, this, [this] {
        // In the background: the line that says what is being done takes room itself, which would be another change.
        if (d->snapshot && !d->gathering && !d->focus.isZero())
            d->layOutAgain(WorkPriority::Background);
    });
    connect(d->list, &GraphList::roomChanged, &d->roomChanged, qOverload<>(&QTimer::start));
    connect(d->list, &GraphList::geometryChanged, this,
            [this] { d->header->setLayout(d->list->geometryOfGraph(), d->list->columns()); });
    connect(d->header, &GraphHeader::edgeMoved, d->list, &GraphList::moveEdge);
    connect(d->header, &GraphHeader::edgeReset, d->list, &GraphList::resetEdge);
    connect(d->list, &GraphList::currentChanged, this, [this] { d->tellCurrent(); });
    connect(d->list, &GraphList::selectionChanged, this, &GraphView::selectionChanged);
    connect(d->list, &GraphList::activated, this, [this](int display) { Q_EMIT activated(d->model->rowAt(display)); });
    connect(d->list, &GraphList::foldToggled, this, [this](int display) { d->toggleFold(display); });
    connect(d->list, &GraphList::replayRequested, this, [this](const DragSource& what, const DropTarget& onto) {
        holdGathered();
        Q_EMIT replayRequested(what, onto);
    });
    connect(d->list, &GraphList::dragBegan, this, [this](const DragSource& what) {
        gatherFor(what);
        Q_EMIT dragBegan(what);
    });
    connect(d->list, &GraphList::dragEnded, this, [this](bool taken) {
        if (taken)
            holdGathered();
        else
            scatter();
        Q_EMIT dragEnded();
    });
    connect(d->list, &GraphList::hoverLeft, this, [this] {
        if (const LanesPtr lanes = std::exchange(d->later, nullptr))
            d->show(lanes);
    });
    connect(d->list, &GraphList::pickingChanged, this, [this](const QString& words) {
        if (!words.isEmpty()) {
            d->hint->say(NoticeBar::Info, words);
            return;
        }
        d->hint->clear();
        // A choice is told next; then the picture stays for the ghost.
        QMetaObject::invokeMethod(
            this,
            [this] {
                if (!d->held && !d->list->isPicking())
                    scatter();
            },
            Qt::QueuedConnection);
    });
    connect(d->hint, &NoticeBar::dismissed, d->list, &GraphList::endPicking);
    connect(d->list, &GraphList::menuRequested, this, [this](const QPoint& at, int display, int ref) {
        auto* menu = new RowMenu(*d->snapshot, d->list->selectedRows(), d->model->rowAt(display), ref,
                                 d->model->summary(display), this);
        menu->setAttribute(Qt::WA_DeleteOnClose);
        menu->popup(at);
    });
    connect(d->filter, &FilterBar::queryChanged, this, [this](const SearchQuery& query) {
        d->query = query;
        d->startSearch();
    });
    connect(d->filter, &FilterBar::nextRequested, this, &GraphView::findNext);
    connect(d->filter, &FilterBar::previousRequested, this, &GraphView::findPrevious);
    connect(d->filter, &FilterBar::onlyMatchesChanged, this, [this] { d->layOutAgain(); });
    connect(d->filter, &FilterBar::foldChanged, this, &GraphView::setFolded);
    connect(d->filter, &FilterBar::focusRequested, this, [this] { focusOn(currentRow()); });
    connect(d->filter, &FilterBar::focusLeft, this, [this] { focusOn(noRow); });
    connect(d->filter, &FilterBar::leaveRequested, d->list, qOverload<>(&QWidget::setFocus));
}

GraphView::~GraphView() = default;

void GraphView::setSnapshot(const SnapshotPtr& snapshot, const LanesPtr& lanes)
{
    const bool sameSnapshot = snapshot == d->snapshot;
    d->snapshot = snapshot;
    d->filter->setEnabled(true);
    d->list->setAttribute(Qt::WA_TransparentForMouseEvents, false);
    d->list->setFocusPolicy(Qt::StrongFocus);
    if (!sameSnapshot) {
        d->lanesBefore = nullptr; // its rows are other commits now
        d->later = nullptr;
        if (d->touchSearch)
            d->touchSearch->cancel();
        ++d->layoutCount; // what is being computed is about other rows
        ++d->searchCount;
    }
    if (!snapshot || !lanes) {
        d->everything = nullptr;
        d->snapshot = nullptr;
        d->show(nullptr);
        return;
    }
    d->everything = lanes;
    if (sameSnapshot && (!d->isPlain() || d->gathering))
        return;
    d->findOptions();
    if (d->isPlain() && d->everything)
        d->show(d->everything);
    else
        d->layOutAgain();
    if (!sameSnapshot && !d->query.empty())
        d->startSearch();
}

void GraphView::showFirstRows(const SnapshotPtr& snapshot, const LanesPtr& lanes)
{
    if (d->snapshot)
        return; // the whole is here already
    // Nothing may be asked of rows below which the history is missing: no pointer, no keys, no search.
    d->filter->setEnabled(false);
    d->list->setAttribute(Qt::WA_TransparentForMouseEvents, true);
    d->list->setFocusPolicy(Qt::NoFocus);
    d->list->clearFocus();
    d->list->setContents(snapshot, lanes);
    d->header->setSnapshot(snapshot);
    d->header->setLayout(d->list->geometryOfGraph(), d->list->columns());
}

SnapshotPtr GraphView::snapshot() const { return d->snapshot; }
void GraphView::setGhost(const ReplayGhost& ghost)
{
    d->ghost = ghost;
    d->list->setGhost(ghost);
}
void GraphView::setLocalChanges(const std::optional<LocalChanges>& changes)
{
    d->list->setLocalChanges(changes ? toText(changes->words()) : QString(), changes && changes->conflicted > 0);
}
bool GraphView::isOnLocalChanges() const { return d->list->isOnLocalRow(); }
Row GraphView::currentRow() const { return d->list->currentRow(); }
std::vector<Row> GraphView::selectedRows() const { return d->list->selectedRows(); }

void GraphView::goTo(Row row)
{
    if (!d->snapshot || row >= d->snapshot->history.size())
        return;
    // Being laid out: it is gone to when that is there.
    if (d->model->snapshot() != d->snapshot) {
        d->wantedCurrent = d->snapshot->history.id(row);
        return;
    }
    const auto display = d->model->lanes() ? d->model->lanes()->displayRowOf(row) : std::nullopt;
    if (display) {
        if (!d->openTowards(row))
            d->goTo(row);
        return;
    }
    if (d->gathering) {
        // What is elsewhere is looked for where one was.
        if (!d->lanesBefore)
            d->wantedCurrent = d->snapshot->history.id(row);
        const bool isThere = d->lanesBefore != nullptr;
        scatter();
        if (isThere)
            goTo(row);
        return;
    }
    // Hidden: leave focus and filter.
    if (d->focus.isZero() && d->ownOnly) {
        // Only everything shows it.
        d->filter->setFolded(false);
        d->folded = d->ownOnly = false;
        d->hint->clear();
    }
    d->wantedCurrent = d->snapshot->history.id(row);
    d->focus = {};
    d->filter->setOnlyMatches(false);
    d->layOutAgain();
}

void GraphView::goToId(const Oid& id)
{
    if (d->snapshot)
        goTo(d->snapshot->history.find(id));
}

void GraphView::goToNextOfPlace(int direction)
{
    if (const int at = d->list->nextOfPlace(direction); at >= 0)
        d->list->setCurrent(at);
}

void GraphView::focusOn(Row tip)
{
    if (!d->snapshot)
        return;
    const bool known = tip < d->snapshot->history.size();
    d->focus = known ? d->snapshot->history.id(tip) : Oid{};
    if (known || currentRow() != noRow)
        d->wantedCurrent = d->snapshot->history.id(known ? tip : currentRow());
    d->filter->setFocused(d->focusName());
    d->layOutAgain();
}

bool GraphView::isFocused() const { return !d->focus.isZero(); }

void GraphView::setFolded(bool fold)
{
    d->filter->setFolded(fold);
    if (d->folded == fold && !d->ownOnly)
        return;
    d->folded = fold;
    d->ownOnly = false;
    if (!d->list->isPicking())
        d->hint->clear();
    d->opened.clear();
    d->layOutAgain();
}

bool GraphView::isFolded() const { return d->folded; }

void GraphView::foldAroundUser()
{
    d->filter->setFolded(true);
    d->folded = d->ownOnly = true;
    d->opened.clear();
    d->hint->say(NoticeBar::Info,
                 tr("Folded around what is yours: your branches, what is checked out, the main lines."));
    connect(d->hint->offer(tr("Show &everything")), &QPushButton::clicked, this, [this] { setFolded(false); });
    d->layOutAgain();
}

bool GraphView::isFoldedAroundUser() const { return d->folded && d->ownOnly; }

void GraphView::gatherFor(const DragSource& source)
{
    if (!d->snapshot || !d->model->lanes() || d->snapshot->history.find(source.tip) == noRow)
        return;
    // What another dry run announced would pass for an answer to this one.
    d->list->setGhost({});
    // A history that fits the screen has nothing to gather.
    if (!d->isGathered && d->model->rowCount() <= d->list->roomForRows())
        return;
    if (!d->isGathered) {
        d->lanesBefore = d->model->lanes();
        d->scrolledTo = d->list->verticalScrollBar()->value();
        d->currentBefore = currentRow() == noRow ? Oid{} : d->snapshot->history.id(currentRow());
    }
    const bool wasGathering = d->gathering.has_value();
    const bool known = d->focused && d->focused->tip == source.tip && d->focused->of == d->snapshot;
    d->gathering = known ? *d->focused : Gathering{source.tip, {}, d->snapshot, false};
    d->held = false;
    if (!wasGathering)
        d->openedBefore = d->opened;
    d->opened.clear();
    d->layOutAgain();
}

void GraphView::scatter()
{
    if (d->gathering)
        d->endGathering();
    d->list->setGhost(d->ghost);
}

void GraphView::holdGathered() { d->held = d->gathering.has_value(); }
bool GraphView::isGathered() const { return d->isGathered; }

void GraphView::beginReplayOnto(const DragSource& source)
{
    gatherFor(source);
    d->list->beginPicking(source);
}

DragSource GraphView::selectedSource() const { return d->list->selectedSource().value_or(DragSource{}); }

QByteArray GraphView::saveState() const
{
    QByteArray bytes;
    QDataStream stream(&bytes, QIODevice::WriteOnly);
    const ColumnWidths& widths = d->list->widths();
    stream << stateVersion << d->folded << QByteArray::fromStdString(d->focus.isZero() ? "" : d->focus.hex())
           << qint32(widths.author) << qint32(widths.date) << widths.lanes << d->ownOnly;
    return bytes;
}

void GraphView::restoreState(const QByteArray& state)
{
    QDataStream stream(state);
    quint8 version = 0;
    bool fold = false;
    QByteArray focus;
    qint32 author = -1, date = -1;
    double lanes = -1;
    stream >> version >> fold >> focus >> author >> date >> lanes;
    const bool sound = stream.status() == QDataStream::Ok && version == stateVersion;
    bool ownOnly = false; // at the end, where older states have nothing
    stream >> ownOnly;
    d->ownOnly = sound && fold && ownOnly;
    if (sound)
        d->list->setWidths({author, date, lanes});
    d->focus = sound ? Oid::parse(focus.toStdString()).value_or(Oid{}) : Oid{};
    d->folded = sound && fold;
    d->opened.clear();
    d->wantedCurrent = d->focus;
    d->filter->setFolded(d->folded);
    d->layOutAgain();
}

void GraphView::findNext() { d->step(1); }
void GraphView::findPrevious() { d->step(-1); }
void GraphView::focusFilter() { d->filter->focusField(); }

} // namespace espalier
