// SPDX-License-Identifier: MIT
#include "core/merge/line_diff.h"

#include "core/merge/myers.h"

#include <algorithm>
#include <cstring>

namespace espalier {

namespace {

using Ids = std::span<const std::uint32_t>;
using Marks = std::vector<char>; // one a line, 1: changed; one more at the end that stays 0

// One more than the largest number in both.
std::uint32_t boundOf(Ids a, Ids b)
{
    std::uint32_t bound = 1;
    for (const Ids ids : {a, b})
        for (const std::uint32_t id : ids)
            bound = std::max(bound, id + 1);
    return bound;
}

// The histogram algorithm as git's xdiff/xhistogram.c has it: the longest common run that holds the
// rarest line splits the texts, and each part is split again.
class Histogram {
  public:
    Histogram(Ids a, Ids b, char* changedA, char* changedB) : m_a(a), m_b(b), m_changedA(changedA), m_changedB(changedB)
    {
        m_first.assign(boundOf(a, b), -1);
        m_count.assign(m_first.size(), 0);
        m_next.assign(a.size(), -1);
    }

    // What is left is a list in place of calls within calls, which a text could be made to nest deeply.
    void run(int a0, int a1, int b0, int b1)
    {
        std::vector<std::array<int, 4>> waiting{{a0, a1, b0, b1}};
        while (!waiting.empty()) {
            const auto next = waiting.back();
            waiting.pop_back();
            a0 = next[0], a1 = next[1], b0 = next[2], b1 = next[3];
            if (a0 == a1) {
                std::fill(m_changedB + b0, m_changedB + b1, char(1));
                continue;
            }
            if (b0 == b1) {
                std::fill(m_changedA + a0, m_changedA + a1, char(1));
                continue;
            }
            const Run found = longest(a0, a1, b0, b1);
            if (found.tooCommon) {
                const Ids a = m_a.subspan(std::size_t(a0), std::size_t(a1 - a0));
                const Ids b = m_b.subspan(std::size_t(b0), std::size_t(b1 - b0));
                classicDiff(a, b, std::uint32_t(m_first.size()), m_changedA + a0, m_changedB + b0);
                continue;
            }
            if (found.length == 0) {
                std::fill(m_changedA + a0, m_changedA + a1, char(1));
                std::fill(m_changedB + b0, m_changedB + b1, char(1));
                continue;
            }
            waiting.push_back({found.a + found.length, a1, found.b + found.length, b1});
            waiting.push_back({a0, found.a, b0, found.b});
        }
    }

  private:
    static constexpr int mostOccurrences = 64;

    struct Run {
        int a = 0, b = 0, length = 0;
        bool tooCommon = false;
    };

    Run longest(int a0, int a1, int b0, int b1)
    {
        for (int at = a1 - 1; at >= a0; --at) {
            const std::uint32_t id = m_a[std::size_t(at)];
            m_next[std::size_t(at)] = m_first[id];
            m_first[id] = at;
            ++m_count[id];
        }
        Run best;
        int rarest = mostOccurrences + 1;
        bool common = false;
        for (int at = b0; at < b1;)
            at = tryAt(at, a0, a1, b0, b1, best, rarest, common);
        best.tooCommon = common && rarest > mostOccurrences;
        for (int at = a0; at < a1; ++at) {
            m_first[m_a[std::size_t(at)]] = -1;
            m_count[m_a[std::size_t(at)]] = 0;
        }
        return best;
    }

    int tryAt(int at, int a0, int a1, int b0, int b1, Run& best, int& rarest, bool& common)
    {
        int next = at + 1;
        const std::uint32_t id = m_b[std::size_t(at)];
        if (id >= m_first.size() || m_first[id] < 0)
            return next;
        common = true;
        if (m_count[id] > rarest)
            return next;
        for (int start = m_first[id];;) {
            int following = m_next[std::size_t(start)];
            int as = start, bs = at, ae = start, be = at;
            int count = m_count[id];
            while (as > a0 && bs > b0 && m_a[std::size_t(as - 1)] == m_b[std::size_t(bs - 1)]) {
                --as, --bs;
                if (count > 1)
                    count = std::min(count, m_count[m_a[std::size_t(as)]]);
            }
            while (ae + 1 < a1 && be + 1 < b1 && m_a[std::size_t(ae + 1)] == m_b[std::size_t(be + 1)]) {
                ++ae, ++be;
                if (count > 1)
                    count = std::min(count, m_count[m_a[std::size_t(ae)]]);
            }
            next = std::max(next, be + 1);
            if (best.length < ae - as + 1 || count < rarest) {
                // git compares the ends' distances; an empty best counts as a run of one line there.
                if (best.length == 0 || best.length - 1 < ae - as || count < rarest) {
                    best.a = as;
                    best.b = bs;
                    best.length = ae - as + 1;
                    rarest = count;
                }
            }
            while (following >= 0 && following <= ae)
                following = m_next[std::size_t(following)];
            if (following < 0)
                return next;
            start = following;
        }
    }

    Ids m_a, m_b;
    char* m_changedA;
    char* m_changedB;
    std::vector<int> m_first, m_count, m_next;
};

// Moves groups of changed lines to where people expect them: as git's xdl_change_compact without the indentation
// heuristic, which merges do not use.
class Compaction {
  public:
    Compaction(Ids ids, Marks& changed, const Marks& other) : m_ids(ids), m_changed(changed), m_other(other) {}

    void run()
    {
        Group group = first(m_changed), opposite = first(m_other);
        while (true) {
            if (group.end != group.start)
                settle(group, opposite);
            if (!next(m_changed, size(), group))
                return;
            next(m_other, int(m_other.size()) - 1, opposite);
        }
    }

  private:
    struct Group {
        int start = 0, end = 0;
    };

    int size() const { return int(m_ids.size()); }
    static Group first(const Marks& marks)
    {
        Group group;
        while (marks[std::size_t(group.end)])
            ++group.end;
        return group;
    }
    static bool next(const Marks& marks, int size, Group& group)
    {
        if (group.end == size)
            return false;
        group.start = group.end + 1;
        group.end = group.start;
        while (marks[std::size_t(group.end)])
            ++group.end;
        return true;
    }
    static bool previous(const Marks& marks, Group& group)
    {
        if (group.start == 0)
            return false;
        group.end = group.start - 1;
        group.start = group.end;
        while (group.start > 0 && marks[std::size_t(group.start - 1)])
            --group.start;
        return true;
    }
    bool slideDown(Group& group)
    {
        if (group.end >= size() || m_ids[std::size_t(group.start)] != m_ids[std::size_t(group.end)])
            return false;
        m_changed[std::size_t(group.start++)] = 0;
        m_changed[std::size_t(group.end++)] = 1;
        while (m_changed[std::size_t(group.end)])
            ++group.end;
        return true;
    }
    bool slideUp(Group& group)
    {
        if (group.start == 0 || m_ids[std::size_t(group.start - 1)] != m_ids[std::size_t(group.end - 1)])
            return false;
        m_changed[std::size_t(--group.start)] = 1;
        m_changed[std::size_t(--group.end)] = 0;
        while (group.start > 0 && m_changed[std::size_t(group.start - 1)])
            --group.start;
        return true;
    }

    void settle(Group& group, Group& opposite)
    {
        const int otherSize = int(m_other.size()) - 1;
        int length, earliest, matching;
        do {
            length = group.end - group.start;
            matching = -1;
            while (slideUp(group))
                previous(m_other, opposite);
            earliest = group.end;
            if (opposite.end > opposite.start)
                matching = group.end;
            while (slideDown(group)) {
                next(m_other, otherSize, opposite);
                if (opposite.end > opposite.start)
                    matching = group.end;
            }
        } while (length != group.end - group.start);
        if (group.end == earliest || matching == -1)
            return;
        // Line up with the last group of the other text that it can meet.
        while (opposite.end == opposite.start) {
            if (!slideUp(group))
                return;
            previous(m_other, opposite);
        }
    }

    Ids m_ids;
    Marks& m_changed;
    const Marks& m_other;
};

// Eight bytes at a time, multiplied and folded; only within one process, so its values need not stay the same.
std::uint64_t hashOf(std::string_view line)
{
    constexpr std::uint64_t factor = 0x9E3779B97F4A7C15u;
    std::uint64_t hash = line.size() * factor;
    const auto mix = [&hash](std::uint64_t word) {
        hash = (hash ^ word) * factor;
        hash ^= hash >> 32;
    };
    std::size_t at = 0;
    std::uint64_t word = 0;
    for (; at + 8 <= line.size(); at += 8) {
        std::memcpy(&word, line.data() + at, 8);
        mix(word);
    }
    word = 0;
    std::memcpy(&word, line.data() + at, line.size() - at);
    mix(word);
    return hash;
}

// How many bytes two texts begin with in common.
std::size_t commonPrefix(std::string_view a, std::string_view b)
{
    const std::size_t size = std::min(a.size(), b.size());
    std::size_t at = 0;
    for (; at + 8 <= size; at += 8) {
        std::uint64_t left = 0, right = 0;
        std::memcpy(&left, a.data() + at, 8);
        std::memcpy(&right, b.data() + at, 8);
        if (left != right)
            break;
    }
    while (at < size && a[at] == b[at])
        ++at;
    return at;
}

} // namespace

void LineTable::grow()
{
    m_slots.assign(std::max<std::size_t>(m_slots.size() * 2, 256), 0);
    const std::size_t mask = m_slots.size() - 1;
    for (std::size_t i = 0; i < m_known.size(); ++i) {
        std::size_t slot = m_known[i].hash & mask;
        while (m_slots[slot] != 0)
            slot = (slot + 1) & mask;
        m_slots[slot] = std::uint32_t(i + 1);
    }
}

std::uint32_t LineTable::idOf(std::string_view line)
{
    if (m_known.size() * 2 >= m_slots.size())
        grow();
    const std::uint64_t hash = hashOf(line);
    const std::size_t mask = m_slots.size() - 1;
    std::size_t slot = hash & mask;
    for (; m_slots[slot] != 0; slot = (slot + 1) & mask)
        if (const Known& known = m_known[m_slots[slot] - 1]; known.hash == hash && known.line == line)
            return m_slots[slot] - 1;
    m_known.push_back({line, hash});
    m_slots[slot] = std::uint32_t(m_known.size());
    return m_slots[slot] - 1;
}

Lines LineTable::add(std::string_view text, const Lines* like)
{
    Lines lines;
    const bool isFirst = m_known.empty();
    const std::size_t expected = text.size() / 24 + 8; // what a line of code has; counting them costs more than growing
    lines.text.reserve(expected);
    lines.ids.reserve(expected);
    const std::size_t likeCount = like ? like->ids.size() : 0;
    std::size_t next = 0; // the line of `like` that is expected
    while (!text.empty()) {
        if (next < likeCount) {
            const char* start = like->text[next].data();
            const std::string_view rest(start,
                                        std::size_t(like->text.back().data() + like->text.back().size() - start));
            const std::size_t same = commonPrefix(text, rest);
            std::size_t taken = 0;
            for (; next < likeCount; ++next) {
                const std::size_t size = like->text[next].size();
                // A last line without an end may go on in the other text.
                if (taken + size > same || (like->text[next].back() != '\n' && taken + size < text.size()))
                    break;
                lines.text.push_back(text.substr(taken, size));
                lines.ids.push_back(like->ids[next]);
                taken += size;
            }
            text.remove_prefix(taken);
            if (text.empty())
                break;
        }
        const std::size_t end = text.find('\n');
        const std::string_view line = text.substr(0, end == std::string_view::npos ? end : end + 1);
        const std::uint32_t id = idOf(line);
        if (isFirst && id == m_places.size())
            m_places.push_back(int(lines.ids.size()));
        if (like && id < m_places.size())
            next = std::size_t(m_places[id]) + 1;
        lines.text.push_back(line);
        lines.ids.push_back(id);
        text.remove_prefix(line.size());
    }
    return lines;
}

std::vector<LineChange> diffLines(Ids a, Ids b, LineDiff algorithm)
{
    Marks changedA(a.size() + 1, 0), changedB(b.size() + 1, 0);
    if (algorithm == LineDiff::Histogram)
        Histogram(a, b, changedA.data(), changedB.data()).run(0, int(a.size()), 0, int(b.size()));
    else
        classicDiff(a, b, boundOf(a, b), changedA.data(), changedB.data());
    Compaction(a, changedA, changedB).run();
    Compaction(b, changedB, changedA).run();
    std::vector<LineChange> changes;
    int i = 0, j = 0;
    while (i < int(a.size()) || j < int(b.size())) {
        LineChange change{i, 0, j, 0};
        while (changedA[std::size_t(i)])
            ++i;
        while (changedB[std::size_t(j)])
            ++j;
        change.aCount = i - change.a;
        change.bCount = j - change.b;
        if (change.aCount > 0 || change.bCount > 0)
            changes.push_back(change);
        else
            ++i, ++j;
    }
    return changes;
}

} // namespace espalier
