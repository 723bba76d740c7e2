// SPDX-License-Identifier: MIT
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
    void foldLanded();
    std::vector<std::uint32_t> findLanded() const;
    void foldRuns();
    void number();
    void findFoldBegins();
    // The row that stands for a commit, or for its nearest shown ancestor along first parents; none when all are hidden.
    std::uint32_t standsFor(Row row) const { return m_stand[row]; }
    bool isOpened(Row row) const { return std::ranges::binary_search(m_opened, row); }
    // Calls `parent(shown row, hidden between)` once for each shown parent.
    template <typename Parent> void eachParent(Row row, Parent&& parent) const;

    Lanes::Data& m_data;
    const LanesOptions& m_options;
    const History& m_history;
    Row m_count;
    std::vector<Row> m_opened;
    std::vector<std::uint32_t> m_stand;  // by row: itself when shown, the fold's row, the shown ancestor, or none
    std::vector<std::uint32_t> m_last;   // by a linear fold's row: its oldest commit, whose parents are the fold's
    std::vector<std::uint32_t> m_folded; // by row: commits beside it
    std::vector<std::uint8_t> m_inside;  // by row: part of a fold (not just passed over)
    std::vector<bool> m_labelled;        // refs and HEAD
    std::vector<bool> m_onMain;
};

template <typename Parent> void Chooser::eachParent(Row row, Parent&& parent) const
{
    const Row from = m_last[row] == none ? row : m_last[row];
    std::array<std::uint32_t, 16> seen;
    std::size_t count = 0;
    for (Row direct : m_history.parents(from)) {
        const std::uint32_t shown = standsFor(direct);
        // A landed side branch stands in its merge's own row.
        if (shown == none || shown <= row || std::find(seen.begin(), seen.begin() + count, shown) != seen.begin() + count)
            continue;
        if (count < seen.size()) seen[count++] = shown;
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
    m_labelled.assign(m_count, false);
    for (const Ref& ref : m_data.snapshot->refs)
        if (ref.row < m_count) m_labelled[ref.row] = true;
    if (const Row head = m_history.find(m_data.snapshot->worktree.headTip); head != noRow)
        m_labelled[head] = true;
    m_onMain.assign(m_count, false);
    const Ref* main = m_data.snapshot->mainLineRef();
    for (Row row = main ? main->row : noRow; row != noRow;) {
        m_onMain[row] = true;
        const auto parents = m_history.parents(row);
        row = parents.empty() ? noRow : parents[0];
    }
}

// The side branches that the main line has merged: for each commit the oldest merge that brought it in.
std::vector<std::uint32_t> Chooser::findLanded() const
{
    std::vector<std::uint32_t> mergeOf(m_count, none);
    std::vector<bool> reached = m_onMain;
    std::vector<Row> pending;
    for (Row merge = m_count; merge-- > 0;) {
        if (m_onMain[merge]) pending.assign(1, merge);
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

// Landed side branches go into the row of their merge, unless a label points into them, or a line from a commit that stays
// shown beside the main line: it would have to lead upwards.
void Chooser::foldLanded()
{
    const std::vector<std::uint32_t> mergeOf = findLanded();
    std::vector<bool> kept(m_count, false); // by merge
    for (Row row = 0; row < m_count; ++row)
        if (mergeOf[row] != none && (m_labelled[row] || isOpened(mergeOf[row]))) kept[mergeOf[row]] = true;
    for (bool changed = true; changed;) {
        changed = false;
        for (Row row = 0; row < m_count; ++row) {
            if (m_onMain[row] || (mergeOf[row] != none && !kept[mergeOf[row]]))
                continue;
            for (Row parent : m_history.parents(row)) {
                const std::uint32_t merge = mergeOf[parent];
                if (merge != none && merge != mergeOf[row] && !kept[merge]) changed = kept[merge] = true;
            }
        }
    }
    for (Row row = 0; row < m_count; ++row)
        if (mergeOf[row] != none && !kept[mergeOf[row]]) {
            m_stand[row] = mergeOf[row];
            m_inside[row] = 1;
            ++m_folded[mergeOf[row]];
        }
}

// A run: commits of one band, each the only child's only shown parent, without labels.
void Chooser::foldRuns()
{
    std::vector<std::uint32_t> children(m_count, 0), onlyParent(m_count, none);
    for (Row row = 0; row < m_count; ++row) {
        if (m_stand[row] != row)
            continue;
        std::uint32_t count = 0;
        eachParent(row, [&](std::uint32_t parent, bool) {
            ++children[parent];
            onlyParent[row] = ++count == 1 ? parent : none;
        });
    }
    const auto linear = [&](Row row) { return onlyParent[row] != none && children[row] == 1 && !m_labelled[row]; };
    const auto continues = [&](Row row) {
        const Row next = onlyParent[row];
        return linear(next) && m_data.snapshot->placesOf(next) == m_data.snapshot->placesOf(row);
    };
    std::vector<bool> done(m_count, false);
    std::vector<Row> run;
    for (Row row = 0; row < m_count; ++row) {
        if (m_stand[row] != row || done[row] || !linear(row))
            continue;
        run.assign(1, row);
        while (continues(run.back()))
            run.push_back(onlyParent[run.back()]);
        for (Row member : run)
            done[member] = true;
        if (run.size() < leastRun || isOpened(row))
            continue;
        for (std::size_t k = 1; k < run.size(); ++k) {
            m_stand[run[k]] = row;
            m_inside[run[k]] = 1;
            m_folded[row] += 1 + m_folded[run[k]];
        }
        m_last[row] = run.back();
    }
    // Members of a landed branch whose merge went into a run stand in the run's row.
    for (Row row = 0; row < m_count; ++row)
        if (m_stand[row] != none && m_stand[m_stand[row]] != m_stand[row]) m_stand[row] = m_stand[m_stand[row]];
}

void Chooser::number()
{
    m_data.everything = false;
    m_data.displayOf.assign(m_count, none);
    for (Row row = 0; row < m_count; ++row)
        if (m_stand[row] == row) {
            m_data.displayOf[row] = std::uint32_t(m_data.shown.size());
            m_data.shown.push_back(row);
            m_data.folded.push_back(m_folded[row]);
        }
    for (Row row = 0; row < m_count; ++row)
        if (m_inside[row] && m_stand[row] != none) m_data.displayOf[row] = m_data.displayOf[m_stand[row]];
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
    m_inside.assign(m_count, 0);
    m_last.assign(m_count, none);
    showOnly();
    if (m_options.fold) {
        findMarks();
        if (m_options.only.empty()) foldLanded();
        foldRuns();
    }
    number();
    if (m_options.fold) findFoldBegins();
}

} // namespace

void chooseRows(Lanes::Data& data, const LanesOptions& options)
{
    data.count = data.snapshot->history.size();
    if (options.fold || !options.only.empty()) Chooser(data, options).run();
}

std::vector<Row> focusRows(const Snapshot& snapshot, Row tip)
{
    const History& history = snapshot.history;
    if (tip >= history.size())
        return {};
    const Ref* main = snapshot.mainLineRef();
    std::vector<Row> rows{tip};
    std::vector<Row> tips{tip};
    for (int at : snapshot.refsAt(tip)) {
        const Ref& ref = snapshot.refs[std::size_t(at)];
        for (const Ref* copy : {snapshot.forkCopy(ref.branch), snapshot.upstreamCopy(ref.branch)})
            if (!ref.branch.empty() && copy && copy->row != noRow) tips.push_back(copy->row);
    }
    if (!main || main->row == noRow) {
        rows = history.onlyIn(tips, {});
    } else {
        const std::vector<Row> mainTip{main->row};
        rows = history.onlyIn(tips, mainTip);
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
        rows.insert(rows.end(), bases.begin(), bases.end());
        rows.push_back(main->row);
        rows.push_back(tip);
    }
    std::ranges::sort(rows);
    const auto repeated = std::ranges::unique(rows);
    rows.erase(repeated.begin(), repeated.end());
    return rows;
}

} // namespace espalier
