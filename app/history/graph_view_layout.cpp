// SPDX-License-Identifier: MIT
// What the picture shows: one layout after another, gathered, focused or folded. Each is computed beside the GUI thread, and only
// the newest counts.
#include "app/history/graph_view_private.h"

#include "app/history/filter_bar.h"
#include "app/history/graph_header.h"
#include "app/history/graph_list.h"
#include "app/history/words.h"
#include "app/support/text.h"
#include "core/history/touching.h"

#include <QScrollBar>

namespace espalier {

QString GraphView::Private::focusName() const
{
    const Row row = focus.isZero() || !snapshot ? noRow : snapshot->history.find(focus);
    if (row == noRow)
        return {};
    const Ref* branch = branchAt(*snapshot, row);
    if (branch)
        return refLabel(*branch);
    const std::vector<int> refs = snapshot->refsAt(row);
    return refs.empty() ? QString::fromStdString(focus.brief()) : refLabel(snapshot->refs[std::size_t(refs[0])]);
}

void GraphView::Private::show(const LanesPtr& lanes)
{
    const Row before = list->currentRow();
    const Oid beforeId = before == noRow ? Oid{} : model->snapshot()->history.id(before);
    later = nullptr;
    list->setContents(snapshot, lanes);
    if (gathering && !std::exchange(isGathered, true)) {
        list->verticalScrollBar()->setValue(0);
        Q_EMIT q->gatheredChanged(true);
    }
    header->setSnapshot(snapshot);
    header->setLayout(list->geometryOfGraph(), list->columns());
    filter->setFocused(focusName());
    showMatches();
    if (!wantedCurrent.isZero()) {
        const Row row = snapshot->history.find(std::exchange(wantedCurrent, {}));
        if (row != noRow && openTowards(row))
            return; // a fold within a fold
        if (row != noRow)
            goTo(row);
    }
    const Row after = list->currentRow();
    if (!snapshot || after == noRow || snapshot->history.id(after) != beforeId)
        tellCurrent();
}

// What is read beside the picture stays, though its row is gathered away for a while.
void GraphView::Private::tellCurrent()
{
    if (list->currentRow() != noRow || !gathering || list->isOnLocalRow())
        Q_EMIT q->currentChanged(list->currentRow());
}

// Rows are those of the newest snapshot; what the user chose is kept by id.
void GraphView::Private::findOptions()
{
    options = {};
    for (const Oid& id : opened)
        if (const Row row = snapshot->history.find(id); row != noRow)
            options.opened.push_back(row);
    const auto gatherAround = [&](const Gathering& about) {
        Gather gather;
        gather.tip = snapshot->history.find(about.tip);
        gather.room = std::size_t(std::max(8, list->roomForRows() - 1));
        if (about.of == snapshot)
            gather.touching = about.touching;
        options.gather = std::move(gather);
    };
    if (isGathering()) {
        gatherAround(*gathering);
        return;
    }
    options.fold = folded;
    const Row tip = focus.isZero() ? noRow : snapshot->history.find(focus);
    if (tip == noRow)
        focus = {};
    if (tip != noRow && !knowsParting()) {
        options.only.push_back(tip); // layOutAgain() finds out more first
        return;
    }
    if (tip != noRow) {
        const Focus& rows = *parting.rows;
        const bool matchesOnly = filter->onlyMatches() && !query.empty();
        if (!matchesOnly && rows.rows.size() > std::size_t(std::max(8, list->roomForRows()))) {
            if (!focused || focused->tip != focus || focused->of != snapshot)
                focused = Gathering{focus, {}, snapshot, false};
            gatherAround(*focused);
            return;
        }
        options.only = rows.rows;
        options.keep = rows.own;
    }
    const bool narrowed = filter->onlyMatches() && !query.empty();
    if (folded && ownOnly && tip == noRow && !narrowed) {
        options.gather = Gather{};
        return;
    }
    if (narrowed) {
        options.fold = false; // who asks for the matches wants to see them
        std::vector<Row> both;
        if (options.only.empty())
            both = matches;
        else
            std::ranges::set_intersection(options.only, matches, std::back_inserter(both));
        // An empty list would mean everything.
        if (!both.empty())
            options.only = std::move(both);
    }
    options.foldTagged = !options.fold && options.only.empty();
    // Folds of another picture have nothing to say here.
    if (options.foldTagged && everything)
        std::erase_if(options.opened, [this](Row row) {
            const auto display = everything->displayRowOf(row);
            return !display || everything->displayed(*display).folded == 0;
        });
}

// Which commits of the main line touched the topic's files: the picture is there without it, and is filled in then.
void GraphView::Private::findTouchingOf(const Gathering& asked)
{
    if (asked.searched || (touchSearch && !touchSearch->isCancelled() && touchTip == asked.tip))
        return;
    if (touchSearch)
        touchSearch->cancel();
    touchTip = asked.tip;
    const auto job = [snapshot = snapshot, tip = asked.tip](const Progress& progress) -> Result<Touching> {
        const auto repository = Repository::open(snapshot->path);
        if (!repository)
            return std::unexpected(repository.error());
        return findTouching(*repository, *snapshot, snapshot->history.find(tip), progress);
    };
    const auto then = [this, of = snapshot, tip = asked.tip, number = ++touchCount](const Result<Touching>& found) {
        if (number != touchCount)
            return;
        touchSearch.clear();
        if (of != snapshot || (!found && found.error().kind == ErrorKind::Cancelled))
            return;
        for (std::optional<Gathering>* each : {&gathering, &focused})
            if (*each && (*each)->tip == tip) {
                (*each)->of = of;
                (*each)->searched = true; // also when it failed: asked again it would fail again
                if (found)
                    (*each)->touching = found->rows;
                if (found && !found->rows.empty() && options.gather)
                    layOutAgain();
                return;
            }
    };
    touchSearch = startWork<Touching>(q, tr("Looking for commits that touch the same files"), job, then,
                                      WorkPriority::Background);
}

void GraphView::Private::endGathering()
{
    if (touchSearch)
        touchSearch->cancel();
    gathering.reset();
    held = false;
    later = nullptr;
    const bool was = std::exchange(isGathered, false);
    if (layingOut)
        layingOut->cancel();
    ++layoutCount;
    if (!was)
        opened = std::exchange(openedBefore, {});
    if (!snapshot || !was)
        return;
    opened = std::exchange(openedBefore, {});
    if (!lanesBefore) {
        layOutAgain(); // another snapshot came meanwhile
    } else {
        findOptions();
        wantedCurrent = currentBefore;
        show(std::exchange(lanesBefore, nullptr));
        list->verticalScrollBar()->setValue(scrolledTo);
    }
    Q_EMIT q->gatheredChanged(false);
}

void GraphView::Private::findParting(WorkPriority priority)
{
    const auto job = [snapshot = snapshot, tip = focus](const Progress&) -> Result<std::shared_ptr<const Focus>> {
        return std::make_shared<const Focus>(espalier::focusOn(*snapshot, snapshot->history.find(tip)));
    };
    const auto then = [this, priority, of = snapshot, tip = focus,
                       asked = ++layoutCount](const Result<std::shared_ptr<const Focus>>& found) {
        if (!found || asked != layoutCount)
            return;
        parting = {of, tip, *found};
        layOutAgain(priority);
    };
    layingOut = startWork<std::shared_ptr<const Focus>>(q, tr("Laying out"), job, then, priority);
}

void GraphView::Private::layOutAgain(WorkPriority priority, Shows shows)
{
    if (layingOut)
        layingOut->cancel();
    ++layoutCount;
    if (!snapshot)
        return;
    if (!isGathering() && !focus.isZero() && snapshot->history.find(focus) != noRow && !knowsParting()) {
        findParting(priority);
        return;
    }
    findOptions();
    if (isPlain() && everything) {
        show(everything);
        return;
    }
    const auto job = [snapshot = snapshot, options = options](const Progress& progress) {
        return layOut(snapshot, options, progress);
    };
    const auto then = [this, shows, asked = ++layoutCount](const Result<LanesPtr>& lanes) {
        if (!lanes || asked != layoutCount)
            return;
        if (gathering && isGathered && shows == Shows::WhenFree && list->isHovered())
            later = *lanes;
        else
            show(*lanes);
        if (options.gather && options.gather->tip != noRow)
            findTouchingOf(gathering ? *gathering : *focused);
    };
    layingOut = startWork<LanesPtr>(q, tr("Laying out"), job, then, priority);
}

void GraphView::Private::toggleFold(int display)
{
    const DisplayRow shown = model->lanes()->displayed(std::size_t(display));
    const Oid id = snapshot->history.id(shown.row);
    if (shown.folded > 0 && !(options.gather && std::ranges::find(opened, id) != opened.end()))
        opened.push_back(id);
    else if (std::erase(opened, id) == 0)
        return;
    layOutAgain(WorkPriority::Shown, Shows::AtOnce);
}

void GraphView::Private::goTo(Row row)
{
    const auto display = model->lanes() ? model->lanes()->displayRowOf(row) : std::nullopt;
    if (!display)
        return;
    list->centre(int(*display));
    list->setCurrent(int(*display));
}

// Opens the fold that holds the row, on the way to it. False when none does, or it is open already.
bool GraphView::Private::openTowards(Row row)
{
    const auto display = model->lanes() ? model->lanes()->displayRowOf(row) : std::nullopt;
    if (!display || model->rowAt(int(*display)) == row)
        return false;
    const Oid holder = snapshot->history.id(model->rowAt(int(*display)));
    if (std::ranges::find(opened, holder) != opened.end())
        return false;
    opened.push_back(holder);
    wantedCurrent = snapshot->history.id(row);
    layOutAgain();
    return true;
}

} // namespace espalier
