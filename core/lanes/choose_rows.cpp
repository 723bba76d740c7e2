// SPDX-License-Identifier: MIT
#include "core/lanes/landmarks.h"
#include "core/lanes/lanes_data.h"

namespace espalier {

namespace {

constexpr std::uint32_t none = 0xFFFFFFFF;
// A fold of fewer commits than this saves nothing.
constexpr std::size_t leastRun = 3;

// Works in rows of the history; display rows are numbered at the end.
class Chooser {
  public:
    Chooser(Lanes::Data& data, const LanesOptions& options)
        : m_data(data), m_options(options), m_history(data.snapshot->history), m_count(m_history.size())
    {
    }
    void run();

  private:
    void showOnly();
    void findMarks();
    void foldTagged();
    void foldQuiet();
    void foldLanded();
    std::vector<std::uint32_t> findLanded() const;
    void foldRuns();
    void settle();
    void number();
    void findFoldBegins();
    // The row that stands for a commit, or for its nearest shown ancestor along first parents; none when all are hidden.
    std::uint32_t standsFor(Row row) const;
    bool isShown(Row row) const { return m_stand[row] == row; }
    bool isOpened(Row row) const { return std::ranges::binary_search(m_opened, row); }
    void foldInto(Row row, Row target);
    // Calls `parent(shown row, hidden between)` once for each shown parent.
    template <typename Parent> void eachParent(Row row, Parent&& parent) const;

    Lanes::Data& m_data;
    const LanesOptions& m_options;
    const History& m_history;
    Row m_count;
    std::vector<Row> m_opened;
    // By row: itself when shown, the row that it is folded into or its nearest shown ancestor (either may be folded into
    // another in turn), or none.
    std::vector<std::uint32_t> m_stand;
    std::vector<std::uint32_t> m_last;   // by a linear fold's row: its oldest commit, whose parents are the fold's
    std::vector<std::uint32_t> m_folded; // by row: commits beside it
    std::vector<std::uint32_t> m_labels; // by row: labels of those
    std::vector<std::uint8_t> m_inside;  // by row: part of a fold (not just passed over)
    std::vector<bool> m_bases;           // by row: branches that nothing keeps were folded into it
    Landmarks m_marks;
};

std::uint32_t Chooser::standsFor(Row row) const
{
    std::uint32_t at = m_stand[row];
    while (at != none && m_stand[at] != at)
        at = m_stand[at];
    return at;
}

// With all that was folded into the row before.
void Chooser::foldInto(Row row, Row target)
{
    m_stand[row] = target;
    m_inside[row] = 1;
    m_folded[target] += 1 + m_folded[row];
    m_labels[target] += m_marks.labels[row] + m_labels[row];
}

template <typename Parent> void Chooser::eachParent(Row row, Parent&& parent) const
{
    const Row from = m_last[row] == none ? row : m_last[row];
    std::array<std::uint32_t, 16> seen;
    std::size_t count = 0;
    for (Row direct : m_history.parents(from)) {
        const std::uint32_t shown = standsFor(direct);
        // A landed side branch stands in its merge's own row.
        if (shown == none || shown <= row ||
            std::find(seen.begin(), seen.begin() + count, shown) != seen.begin() + count)
            continue;
        if (count < seen.size())
            seen[count++] = shown;
        parent(shown, shown != direct && !m_inside[direct]);
    }
}

void Chooser::showOnly()
{
    m_stand.assign(m_count, none);
    std::size_t next = m_options.only.size();
    for (Row row = m_count; row-- > 0;) {
        while (next > 0 && m_options.only[next - 1] > row)
            --next;
        if (m_options.only.empty() || (next > 0 && m_options.only[next - 1] == row))
            m_stand[row] = row;
        else if (const auto parents = m_history.parents(row); !parents.empty())
            m_stand[row] = m_stand[parents[0]];
    }
}

void Chooser::findMarks()
{
    m_marks = findLandmarks(*m_data.snapshot);
    for (const Row row : m_options.keep)
        if (row < m_count)
            m_marks.keepsRow[row] = true;
}

// With all else shown. A tag's history stands beside the main line, where the user's own work does, but is nobody's: most tags
// came with upstream's releases.
void Chooser::foldTagged()
{
    const std::vector<bool> reached = reachedByMoreThanTags(*m_data.snapshot);
    for (Row row = m_count; row-- > 0;) {
        const auto parents = m_history.parents(row);
        if (reached[row] || parents.empty() || !isShown(row))
            continue;
        const Row below = parents[0];
        const Row base = m_stand[below];
        if ((!reached[below] && m_inside[below] == 0) || isOpened(base))
            continue;
        foldInto(row, base);
        m_bases[base] = true;
    }
    // What stands on nothing, along first parents.
    std::vector<bool> done(m_count, false);
    for (Row row = 0; row < m_count; ++row) {
        if (reached[row] || done[row] || !isShown(row))
            continue;
        std::vector<Row> line{row};
        for (auto below = m_history.parents(row); !below.empty(); below = m_history.parents(below[0])) {
            if (reached[below[0]] || done[below[0]] || !isShown(below[0]))
                break;
            line.push_back(below[0]);
        }
        for (const Row member : line)
            done[member] = true;
        // On what is shown it stands because that was opened: then this was meant.
        const auto end = m_history.parents(line.back());
        if (isOpened(row) || (!end.empty() && reached[end[0]]))
            continue;
        for (std::size_t at = 1; at < line.size(); ++at)
            foldInto(line[at], row);
        m_last[row] = line.back();
    }
}

// Branches that nothing keeps in the picture go into the row of the commit on which they stand: no merge took them in, so
// there is no other. What has no such row (an unrelated history, a base that is filtered out) stays.
void Chooser::foldQuiet()
{
    std::vector<bool> kept(m_count, false);
    for (Row row = 0; row < m_count; ++row) {
        kept[row] = kept[row] || m_marks.landed[row] || m_marks.keepsRow[row] || m_marks.keepsLine[row];
        if (kept[row])
            for (const Row parent : m_history.parents(row))
                kept[parent] = true;
    }
    for (Row row = m_count; row-- > 0;) {
        const auto parents = m_history.parents(row);
        if (kept[row] || !isShown(row) || parents.empty())
            continue;
        const Row below = parents[0];
        if (kept[below] ? !isShown(below) : m_inside[below] == 0)
            continue;
        const Row base = m_stand[below];
        if (isOpened(base))
            continue;
        foldInto(row, base);
        m_bases[base] = true;
    }
}

// The side branches that the main line has merged: for each commit the oldest merge that brought it in.
std::vector<std::uint32_t> Chooser::findLanded() const
{
    std::vector<std::uint32_t> mergeOf(m_count, none);
    std::vector<bool> reached = m_marks.onMain;
    std::vector<Row> pending;
    for (Row merge = m_count; merge-- > 0;) {
        if (m_marks.onMain[merge])
            pending.assign(1, merge);
        while (!pending.empty()) {
            const Row row = pending.back();
            pending.pop_back();
            for (Row parent : m_history.parents(row))
                if (!reached[parent]) {
                    reached[parent] = true;
                    mergeOf[parent] = merge;
                    pending.push_back(parent);
                }
        }
    }
    return mergeOf;
}

// Landed side branches go into the row of their merge, unless a label there keeps its row, or a line leads into them from a
// commit that stays shown beside the main line: it would have to lead upwards.
void Chooser::foldLanded()
{
    const std::vector<std::uint32_t> mergeOf = findLanded();
    std::vector<bool> kept(m_count, false); // by merge
    for (Row row = 0; row < m_count; ++row)
        if (const std::uint32_t merge = mergeOf[row];
            merge != none && (m_marks.keepsRow[row] || isOpened(merge) || !isShown(merge)))
            kept[merge] = true;
    for (bool changed = true; changed;) {
        changed = false;
        for (Row row = 0; row < m_count; ++row) {
            if (!isShown(row) || m_marks.onMain[row] || (mergeOf[row] != none && !kept[mergeOf[row]]))
                continue;
            for (const Row parent : m_history.parents(row)) {
                const std::uint32_t shown = standsFor(parent);
                const std::uint32_t merge = shown == none ? none : mergeOf[shown];
                if (merge != none && merge != mergeOf[row] && !kept[merge])
                    changed = kept[merge] = true;
            }
        }
    }
    for (Row row = 0; row < m_count; ++row)
        if (isShown(row) && mergeOf[row] != none && !kept[mergeOf[row]])
            foldInto(row, mergeOf[row]);
}

// A run: commits of one band, each the only child's only shown parent, without a label that keeps its row.
void Chooser::foldRuns()
{
    std::vector<std::uint32_t> children(m_count, 0), onlyParent(m_count, none);
    for (Row row = 0; row < m_count; ++row) {
        if (!isShown(row))
            continue;
        std::uint32_t count = 0;
        eachParent(row, [&](std::uint32_t parent, bool) {
            ++children[parent];
            onlyParent[row] = ++count == 1 ? parent : none;
        });
    }
    const auto linear = [&](Row row) {
        return onlyParent[row] != none && children[row] == 1 && !m_marks.keepsRow[row];
    };
    const auto continues = [&](Row row) {
        const Row next = onlyParent[row];
        return linear(next) && m_data.snapshot->placesOf(next) == m_data.snapshot->placesOf(row);
    };
    std::vector<bool> done(m_count, false);
    std::vector<Row> run;
    for (Row row = 0; row < m_count; ++row) {
        if (!isShown(row) || done[row] || !linear(row))
            continue;
        run.assign(1, row);
        while (continues(run.back()))
            run.push_back(onlyParent[run.back()]);
        for (Row member : run)
            done[member] = true;
        if (run.size() < leastRun || isOpened(row))
            continue;
        for (std::size_t k = 1; k < run.size(); ++k)
            foldInto(run[k], row);
        m_last[row] = run.back();
    }
}

// What stands in a row that was itself folded stands in that one's row: a landed branch whose merge went into a run.
void Chooser::settle()
{
    for (Row row = 0; row < m_count; ++row)
        m_stand[row] = standsFor(row);
}

void Chooser::number()
{
    m_data.everything = false;
    m_data.displayOf.assign(m_count, none);
    for (Row row = 0; row < m_count; ++row)
        if (isShown(row)) {
            m_data.displayOf[row] = std::uint32_t(m_data.shown.size());
            m_data.shown.push_back(row);
            m_data.folded.push_back(m_folded[row]);
            m_data.foldedLabels.push_back(m_labels[row]);
        }
    for (Row row = 0; row < m_count; ++row)
        if (m_inside[row] && m_stand[row] != none)
            m_data.displayOf[row] = m_data.displayOf[m_stand[row]];
    m_data.count = std::uint32_t(m_data.shown.size());
    m_data.parentStart.reserve(m_data.count + 1);
    for (Row row : m_data.shown) {
        m_data.parentStart.push_back(std::uint32_t(m_data.parents.size()));
        eachParent(row, [&](std::uint32_t parent, bool hidden) {
            m_data.parents.push_back(m_data.displayOf[parent] | (hidden ? Lanes::Data::skipsBit : 0));
        });
    }
    m_data.parentStart.push_back(std::uint32_t(m_data.parents.size()));
}

// A fold's lines are those of its oldest commit; what the others stand on outside of it would not be seen.
void Chooser::findFoldBegins()
{
    m_data.beginsFold.assign(m_data.count, false);
    for (Row row = 0; row < m_count; ++row) {
        if (m_bases[row] && m_data.displayOf[row] != none)
            m_data.beginsFold[m_data.displayOf[row]] = true;
        if (!m_inside[row] || m_stand[row] == none || m_last[m_stand[row]] == row)
            continue;
        for (const Row parent : m_history.parents(row))
            if (const std::uint32_t at = m_data.displayOf[parent]; at != none && at != m_data.displayOf[row])
                m_data.beginsFold[at] = true;
    }
}

void Chooser::run()
{
    m_opened = m_options.opened;
    std::ranges::sort(m_opened);
    m_folded.assign(m_count, 0);
    m_labels.assign(m_count, 0);
    m_bases.assign(m_count, false);
    m_inside.assign(m_count, 0);
    m_last.assign(m_count, none);
    showOnly();
    const bool tags = m_options.foldTagged && !m_options.fold && m_options.only.empty();
    if (tags) {
        m_marks.labels = labelsByRow(*m_data.snapshot);
        foldTagged();
    }
    if (m_options.fold) {
        findMarks();
        foldQuiet();
        foldLanded();
        foldRuns();
    }
    settle();
    number();
    if (m_options.fold || tags)
        findFoldBegins();
}

} // namespace

void chooseRows(Lanes::Data& data, const LanesOptions& options)
{
    data.count = data.snapshot->history.size();
    if (options.gather && (options.gather->tip == noRow || options.gather->tip < data.snapshot->history.size()))
        gatherRows(data, options);
    else if (options.fold || !options.only.empty() ||
             (options.foldTagged && std::ranges::contains(reachedByMoreThanTags(*data.snapshot), false)))
        Chooser(data, options).run();
}

Focus focusOn(const Snapshot& snapshot, Row tip)
{
    const History& history = snapshot.history;
    Focus focus;
    if (tip >= history.size())
        return focus;
    const Ref* main = snapshot.mainLineRef();
    std::vector<Row> tips{tip};
    for (int at : snapshot.refsAt(tip)) {
        const Ref& ref = snapshot.refs[std::size_t(at)];
        for (const Ref* copy : {snapshot.forkCopy(ref.branch), snapshot.upstreamCopy(ref.branch)})
            if (!ref.branch.empty() && copy && copy->row != noRow)
                tips.push_back(copy->row);
    }
    const auto sort = [](std::vector<Row>& rows) {
        std::ranges::sort(rows);
        const auto repeated = std::ranges::unique(rows);
        rows.erase(repeated.begin(), repeated.end());
    };
    if (!main || main->row == noRow) {
        focus.own = focus.rows = history.onlyIn(tips, {});
        return focus;
    }
    const std::vector<Row> mainTip{main->row};
    focus.own = focus.rows = history.onlyIn(tips, mainTip);
    std::vector<Row>& rows = focus.rows;
    // What else touches it: commits of other branches that stand on the topic's own.
    std::vector<bool> touched(history.size(), false);
    for (Row row : rows)
        touched[row] = true;
    for (Row row = rows.empty() ? 0 : rows.back(); row-- > 0;)
        for (Row parent : history.parents(row))
            if (touched[parent] && !touched[row]) {
                touched[row] = true;
                rows.push_back(row);
            }
    const auto ofMain = history.onlyIn(mainTip, tips);
    const auto bases = history.mergeBases(tip, main->row);
    rows.insert(rows.end(), ofMain.begin(), ofMain.end());
    for (auto* list : {&focus.rows, &focus.own}) {
        list->insert(list->end(), bases.begin(), bases.end());
        list->insert(list->end(), {main->row, tip});
        sort(*list);
    }
    return focus;
}

} // namespace espalier
