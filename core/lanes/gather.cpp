// SPDX-License-Identifier: MIT
#include "core/lanes/gather.h"
#include "core/history/reached.h"
#include "core/lanes/landmarks.h"
#include "core/lanes/lanes_data.h"
#include "core/refs/ref_name.h"

#include <map>
#include <set>

namespace espalier {

namespace {

constexpr std::uint32_t none = 0xFFFFFFFF;

enum Reach : std::uint8_t { byMain = 1, byTip = 2, byCopies = 4 };

Row firstParent(const History& history, Row row)
{
    const auto parents = history.parents(row);
    return parents.empty() ? noRow : parents[0];
}

// The branch names that stand at a tip: copies of those elsewhere are the topic itself.
std::set<std::string> branchesAt(const Snapshot& snapshot, Row tip)
{
    std::set<std::string> names;
    for (const int at : snapshot.refsAt(tip))
        if (const Ref& ref = snapshot.refs[std::size_t(at)]; ref.place && !ref.branch.empty())
            names.insert(ref.branch);
    return names;
}

// Works in rows of the history; display rows are numbered at the end.
class Gatherer {
  public:
    Gatherer(Lanes::Data& data, const LanesOptions& options)
        : m_data(data)
        , m_gather(*options.gather)
        , m_snapshot(*data.snapshot)
        , m_history(m_snapshot.history)
        , m_opened(options.opened.begin(), options.opened.end())
        , m_touches(m_gather.touching.begin(), m_gather.touching.end())
    {
    }
    void run();

  private:
    struct Limits {
        std::size_t own, touching, bases;
    };
    // What a display row holds.
    struct Shown {
        Row last = noRow; // the oldest of its line, whose parents are the row's
        std::uint32_t folded = 0, labels = 0, touching = 0;
        bool gap = false;
    };
    enum class Between { Gaps, IntoTop };

    void findReach();
    void buildHome();
    std::vector<Row> homeTips() const;
    void build(const Limits& limits);
    std::set<Row> keptOfMain(const Limits& limits) const;
    std::set<Row> keptOfTopic(const Limits& limits) const;
    template <typename Region> void addLine(Row top, const Region& region, const std::set<Row>& kept, Between between);
    void addBase(Row row);
    void showApart(Row row);
    void count();
    std::vector<std::pair<Row, bool>> parentsOf(Row row, const Shown& shown) const;
    void number();

    Lanes::Data& m_data;
    const Gather& m_gather;
    const Snapshot& m_snapshot;
    const History& m_history;
    std::set<Row> m_opened, m_touches;
    std::vector<std::uint8_t> m_reach; // by row
    Row m_main = noRow, m_base = noRow;
    std::vector<Row> m_copies, m_bases;
    std::vector<std::uint32_t> m_holder; // by row: the row that shows it
    std::map<Row, Shown> m_shown;
};

void Gatherer::findReach()
{
    const Row count = m_history.size();
    m_reach.assign(count, 0);
    if (const Ref* main = m_snapshot.mainLineRef(); main && main->row < count)
        m_main = main->row;
    if (m_main != noRow)
        m_reach[m_main] |= byMain;
    if (m_gather.tip != noRow)
        m_reach[m_gather.tip] |= byTip;
    const std::set<std::string> names =
        m_gather.tip == noRow ? std::set<std::string>() : branchesAt(m_snapshot, m_gather.tip);
    for (const Ref& ref : m_snapshot.refs)
        if (ref.row < count && ref.row != m_gather.tip && ref.row != m_main && ref.place &&
            names.contains(ref.branch)) {
            m_copies.push_back(ref.row);
            m_reach[ref.row] |= byCopies;
        }
    for (Row row = 0; row < count; ++row)
        if (m_reach[row])
            for (const Row parent : m_history.parents(row))
                m_reach[parent] |= m_reach[row];
    if (m_main == noRow || m_gather.tip == noRow)
        return;
    if (const std::vector<Row> bases = m_history.mergeBases(m_gather.tip, m_main); !bases.empty())
        m_base = bases[0];
}

std::set<Row> Gatherer::keptOfMain(const Limits& limits) const
{
    std::set<Row> kept(m_bases.begin(), m_bases.begin() + std::ptrdiff_t(std::min(limits.bases, m_bases.size())));
    // The newest of those that touch the same files.
    std::size_t touching = 0;
    for (const Row row : m_touches)
        if (touching++ < limits.touching)
            kept.insert(row);
    return kept;
}

// Both ends: what the topic is about now, and what it began with.
std::set<Row> Gatherer::keptOfTopic(const Limits& limits) const
{
    std::vector<Row> line;
    for (Row row = m_gather.tip; row != noRow && !(m_reach[row] & byMain); row = firstParent(m_history, row))
        line.push_back(row);
    std::set<Row> kept;
    for (std::size_t at = 0; at < line.size(); ++at)
        if (line.size() <= limits.own || at < (limits.own + 1) / 2 || at + limits.own / 2 >= line.size())
            kept.insert(line[at]);
    return kept;
}

// The commits of a region that `top` reaches: those on its first-parent line that are kept get a row, those between share
// one (or go into the top's), and what a merge brought in stands where the merge does.
template <typename Region>
void Gatherer::addLine(Row top, const Region& region, const std::set<Row>& kept, Between between)
{
    std::vector<Row> line;
    for (Row row = top; row != noRow && m_holder[row] == none && region(row); row = firstParent(m_history, row)) {
        line.push_back(row);
        m_holder[row] = row;
    }
    if (line.empty())
        return;
    // Which commit of the line brought in what: the oldest that reaches it.
    std::vector<std::uint32_t> brought(line.size(), 0);
    std::vector<std::pair<Row, std::size_t>> beside;
    std::vector<Row> pending;
    for (std::size_t at = line.size(); at-- > 0;) {
        pending.assign(1, line[at]);
        while (!pending.empty()) {
            const Row row = pending.back();
            pending.pop_back();
            for (const Row parent : m_history.parents(row))
                if (m_holder[parent] == none && region(parent)) {
                    m_holder[parent] = line[at];
                    beside.push_back({parent, at});
                    ++brought[at];
                    pending.push_back(parent);
                }
        }
    }
    for (std::size_t at = 0; at < line.size();) {
        const auto keeps = [&](std::size_t k) { return k == 0 || kept.contains(line[k]); };
        std::size_t end = at + 1;
        if (between == Between::IntoTop)
            end = line.size();
        else if (!keeps(at))
            while (end < line.size() && !keeps(end))
                ++end;
        const bool isOpen = m_opened.contains(line[at]);
        if (isOpen)
            for (std::size_t k = at; k < end; ++k)
                m_shown[line[k]] = {.last = line[k], .folded = brought[k]};
        else {
            Shown shown{.last = line[end - 1], .folded = std::uint32_t(end - at - 1)};
            shown.gap = between == Between::Gaps && end - at > 1;
            for (std::size_t k = at; k < end; ++k) {
                shown.folded += brought[k];
                m_holder[line[k]] = line[at];
            }
            m_shown[line[at]] = shown;
        }
        at = end;
    }
    for (const auto& [row, at] : beside) {
        const Row holder = m_holder[line[at]];
        // What a merge brought in has rows of its own once the merge is opened.
        if (holder == line[at] && m_opened.contains(holder)) {
            --m_shown[holder].folded;
            m_shown[row] = {.last = row};
            m_holder[row] = row;
        } else
            m_holder[row] = holder;
    }
}

// A base that stands inside another row gets one of its own.
void Gatherer::showApart(Row row)
{
    Shown& holder = m_shown[m_holder[row]];
    if (holder.folded > 0)
        --holder.folded;
    m_holder[row] = row;
    m_shown[row] = {.last = row};
}

void Gatherer::addBase(Row row)
{
    if (m_shown.contains(row))
        return;
    if (m_holder[row] != none)
        showApart(row);
    else
        addLine(row, [](Row) { return true; }, {}, Between::IntoTop);
}

// What is checked out, the clone's branches and their copies in the fork, newest first; at most as many as anybody looks
// through.
std::vector<Row> Gatherer::homeTips() const
{
    constexpr std::size_t most = 200;
    std::set<Row> tips;
    const Ref* main = m_snapshot.mainLineRef();
    for (const Ref& ref : m_snapshot.refs) {
        if (ref.row >= m_history.size() || !ref.place)
            continue;
        const bool ofMain = main && ref.branch == main->branch;
        const bool own = ref.kind == RefKind::Branch ||
                         (ref.place == Place::Fork && m_snapshot.findRef(branchRef(ref.branch)) != nullptr);
        if (ofMain || (own && !(m_reach[ref.row] & byMain)))
            tips.insert(ref.row);
    }
    std::vector<Row> newest(tips.begin(), tips.end());
    if (newest.size() > most)
        newest.resize(most);
    const Row head = m_history.find(m_snapshot.worktree.headTip);
    if (head != noRow && std::ranges::find(newest, head) == newest.end())
        newest.push_back(head);
    std::ranges::sort(newest);
    return newest;
}

void Gatherer::buildHome()
{
    m_holder.assign(m_history.size(), none);
    m_shown.clear();
    const std::vector<Row> tips = homeTips();
    std::set<Row> kept(tips.begin(), tips.end());
    // Where each leaves the main line's history.
    for (const Row tip : tips) {
        Row row = tip;
        while (row != noRow && !(m_reach[row] & byMain))
            row = firstParent(m_history, row);
        if (row != noRow)
            kept.insert(row);
    }
    if (m_main != noRow)
        addLine(m_main, [](Row) { return true; }, kept, Between::Gaps);
    for (const Row tip : tips)
        if (m_holder[tip] == none)
            addLine(tip, [](Row) { return true; }, kept, Between::Gaps);
    for (const Row row : kept)
        if (m_holder[row] != none && !m_shown.contains(row))
            showApart(row);
}

void Gatherer::build(const Limits& limits)
{
    m_holder.assign(m_history.size(), none);
    m_shown.clear();
    const std::set<Row> kept = keptOfMain(limits);
    const auto only = [this](std::uint8_t by, std::uint8_t but) {
        return [this, by, but](Row row) { return (m_reach[row] & by) && !(m_reach[row] & but); };
    };
    if (m_main != noRow)
        addLine(m_main, only(byMain, byTip), kept, Between::Gaps);
    addLine(m_gather.tip, only(byTip, byMain), keptOfTopic(limits), Between::Gaps);
    for (const Row copy : m_copies)
        if (m_reach[copy] & (byMain | byTip))
            continue; // stands in one of the rows above, or below the base
        else if (m_holder[copy] == none)
            addLine(copy, only(byCopies, byMain | byTip), {}, Between::IntoTop);
    if (m_base != noRow)
        addLine(m_base, [](Row) { return true; }, kept, Between::Gaps);
    for (const Row copy : m_copies)
        addBase(copy);
    for (std::size_t at = 0; at < std::min(limits.bases, m_bases.size()); ++at)
        addBase(m_bases[at]);
}

void Gatherer::count()
{
    for (const auto& [row, ref] : m_snapshot.refsByRow)
        if (row < m_holder.size() && m_holder[row] != none && (m_holder[row] != row || m_shown[row].gap))
            ++m_shown[m_holder[row]].labels;
    for (const Row row : m_touches)
        if (row < m_holder.size() && m_holder[row] != none)
            ++m_shown[m_holder[row]].touching;
}

// With whether commits between are not shown by any row.
std::vector<std::pair<Row, bool>> Gatherer::parentsOf(Row row, const Shown& shown) const
{
    std::vector<std::pair<Row, bool>> found;
    const auto add = [&](Row parent, bool hidden) {
        constexpr std::size_t most = 16; // as when folding: a row's lines, not a merge's hundred parents
        if (parent > row && found.size() < most &&
            std::ranges::find(found, parent, &std::pair<Row, bool>::first) == found.end())
            found.push_back({parent, hidden});
    };
    const auto parents = m_history.parents(shown.last);
    const std::size_t count = shown.gap ? std::min<std::size_t>(1, parents.size()) : parents.size();
    for (std::size_t at = 0; at < count; ++at)
        if (m_holder[parents[at]] != none)
            add(m_holder[parents[at]], false);
    // The main line reached the base through a merge: its own first parent is then somewhere below.
    const bool ends = m_base != noRow && !parents.empty() && (m_reach[shown.last] & (byMain | byTip)) &&
                      (m_reach[shown.last] & (byMain | byTip)) != (byMain | byTip);
    const bool leaves = ends && (m_reach[parents[0]] & (byMain | byTip)) == (byMain | byTip);
    if (leaves && m_base > row) {
        std::erase_if(found, [&](const auto& each) {
            return each.first != m_base && (m_reach[each.first] & (byMain | byTip)) == (byMain | byTip);
        });
        add(m_base, parents[0] != m_base);
    }
    if (found.empty() && !parents.empty() && m_base != noRow && m_base > row)
        add(m_base, true);
    // A base that the main line took in with a merge: to what stands below it on the main line.
    if (found.empty() && !parents.empty() && m_gather.tip == noRow)
        for (auto at = m_shown.upper_bound(row); at != m_shown.end(); ++at)
            if (m_reach[at->first] & byMain) {
                add(at->first, true);
                break;
            }
    return found;
}

void Gatherer::number()
{
    m_data.everything = false;
    m_data.displayOf.assign(m_history.size(), none);
    std::map<Row, std::uint32_t> displays;
    for (const auto& [row, shown] : m_shown) {
        displays[row] = std::uint32_t(m_data.shown.size());
        m_data.shown.push_back(row);
        m_data.folded.push_back(shown.folded);
        m_data.foldedLabels.push_back(shown.labels);
        m_data.gaps.push_back(shown.gap);
        m_data.touching.push_back(shown.touching);
    }
    for (Row row = 0; row < m_history.size(); ++row)
        if (m_holder[row] != none)
            m_data.displayOf[row] = displays[m_holder[row]];
    m_data.count = std::uint32_t(m_data.shown.size());
    for (const auto& [row, shown] : m_shown) {
        m_data.parentStart.push_back(std::uint32_t(m_data.parents.size()));
        for (const auto& [parent, hidden] : parentsOf(row, shown))
            m_data.parents.push_back(displays[parent] | (hidden ? Lanes::Data::skipsBit : 0));
    }
    m_data.parentStart.push_back(std::uint32_t(m_data.parents.size()));
}

void Gatherer::run()
{
    findReach();
    if (m_gather.tip == noRow) {
        buildHome();
        count();
        number();
        return;
    }
    const std::size_t room = std::max<std::size_t>(m_gather.room, 4);
    Limits limits{std::max<std::size_t>(2, room / 4), std::max<std::size_t>(1, room / 5),
                  std::max<std::size_t>(2, room / 3)};
    for (const int at : sensibleBases(m_snapshot, m_gather.tip, limits.bases + 1))
        if (const Row row = m_snapshot.refs[std::size_t(at)].row; row != m_main)
            m_bases.push_back(row);
    build(limits);
    // What the user has opened may be as long as it is.
    while (m_opened.empty() && m_shown.size() > room && limits.own + limits.touching + limits.bases > 1) {
        std::size_t& largest = std::max({&limits.own, &limits.touching, &limits.bases},
                                        [](const std::size_t* a, const std::size_t* b) { return *a < *b; })[0];
        --largest;
        build(limits);
    }
    count();
    number();
}

} // namespace

std::vector<int> sensibleBases(const Snapshot& snapshot, Row tip, std::size_t limit)
{
    std::vector<int> found;
    const History& history = snapshot.history;
    if (tip >= history.size())
        return found;
    const std::set<std::string> own = branchesAt(snapshot, tip);
    const Ref* main = snapshot.mainLineRef();
    const bool hasMain = main && main->row < history.size();
    const std::vector<bool> landed =
        hasMain ? reachedFrom(history, main->row) : std::vector<bool>(history.size(), false);
    const std::int64_t oldest = hasMain ? history.time(main->row) - staleSeconds : 0;
    std::vector<int> copies, upstreams, topics;
    for (std::size_t at = 0; at < snapshot.refs.size(); ++at) {
        const Ref& ref = snapshot.refs[at];
        if (ref.row >= history.size() || ref.row == tip || !ref.place || ref.branch.empty() || &ref == main ||
            (hasMain && ref.row == main->row))
            continue;
        if (main && ref.branch == main->branch)
            copies.push_back(int(at));
        else if (own.contains(ref.branch))
            continue;
        else if (ref.kind == RefKind::RemoteBranch && ref.place == Place::Upstream && history.time(ref.row) >= oldest)
            upstreams.push_back(int(at));
        else if (ref.kind == RefKind::Branch && !landed[ref.row] && history.time(ref.row) >= oldest)
            topics.push_back(int(at));
    }
    const auto newestFirst = [&](int a, int b) {
        return snapshot.refs[std::size_t(a)].row < snapshot.refs[std::size_t(b)].row;
    };
    std::ranges::stable_sort(upstreams, newestFirst);
    std::ranges::stable_sort(topics, newestFirst);
    if (hasMain)
        found.push_back(snapshot.mainLine);
    found.insert(found.end(), copies.begin(), copies.end());
    // By turns, so that neither kind crowds out the other.
    for (std::size_t at = 0; at < std::max(upstreams.size(), topics.size()); ++at) {
        if (at < upstreams.size())
            found.push_back(upstreams[at]);
        if (at < topics.size())
            found.push_back(topics[at]);
    }
    if (found.size() > limit)
        found.resize(limit);
    return found;
}

void gatherRows(Lanes::Data& data, const LanesOptions& options) { Gatherer(data, options).run(); }

} // namespace espalier
