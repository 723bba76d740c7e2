// SPDX-License-Identifier: MIT
#include "app/settle/line_match.h"

#include <QHash>

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t lcsLimit = 400'000; // cells of the table for a stretch: below a millisecond
constexpr int depthLimit = 64;

struct Stretch {
    int aFirst, aLast, bFirst, bLast; // half open
};

class Matcher {
  public:
    Matcher(std::vector<int> a, std::vector<int> b) : m_a(std::move(a)), m_b(std::move(b)), m_at(m_a.size(), -1) {}
    std::vector<int> run()
    {
        match({0, int(m_a.size()), 0, int(m_b.size())}, 0);
        return std::move(m_at);
    }

  private:
    void match(Stretch s, int depth)
    {
        while (s.aFirst < s.aLast && s.bFirst < s.bLast && m_a[std::size_t(s.aFirst)] == m_b[std::size_t(s.bFirst)])
            m_at[std::size_t(s.aFirst++)] = s.bFirst++;
        while (s.aFirst < s.aLast && s.bFirst < s.bLast &&
               m_a[std::size_t(s.aLast - 1)] == m_b[std::size_t(s.bLast - 1)])
            m_at[std::size_t(--s.aLast)] = --s.bLast;
        if (s.aFirst == s.aLast || s.bFirst == s.bLast)
            return;
        const auto anchors = depth < depthLimit ? uniqueAnchors(s) : std::vector<std::pair<int, int>>{};
        if (anchors.empty()) {
            longest(s);
            return;
        }
        Stretch gap{s.aFirst, s.aFirst, s.bFirst, s.bFirst};
        for (const auto& [i, j] : anchors) {
            gap.aLast = i;
            gap.bLast = j;
            match(gap, depth + 1);
            m_at[std::size_t(i)] = j;
            gap.aFirst = i + 1;
            gap.bFirst = j + 1;
        }
        gap.aLast = s.aLast;
        gap.bLast = s.bLast;
        match(gap, depth + 1);
    }

    // Lines that occur once on both sides, reduced to the longest run that rises on both.
    std::vector<std::pair<int, int>> uniqueAnchors(const Stretch& s) const
    {
        struct Seen {
            int a = -1, b = -1;
            bool twice = false;
        };
        QHash<int, Seen> seen;
        for (int i = s.aFirst; i < s.aLast; ++i) {
            Seen& entry = seen[m_a[std::size_t(i)]];
            entry.twice = entry.twice || entry.a >= 0;
            entry.a = i;
        }
        for (int j = s.bFirst; j < s.bLast; ++j) {
            const auto entry = seen.find(m_b[std::size_t(j)]);
            if (entry == seen.end())
                continue;
            entry->twice = entry->twice || entry->b >= 0;
            entry->b = j;
        }
        std::vector<std::pair<int, int>> pairs;
        for (const Seen& entry : std::as_const(seen))
            if (entry.a >= 0 && entry.b >= 0 && !entry.twice)
                pairs.emplace_back(entry.a, entry.b);
        std::ranges::sort(pairs);
        return rising(pairs);
    }

    static std::vector<std::pair<int, int>> rising(const std::vector<std::pair<int, int>>& pairs)
    {
        std::vector<int> tops; // index of the lowest end of a run of each length
        std::vector<int> before(pairs.size(), -1);
        for (int i = 0; i < int(pairs.size()); ++i) {
            const auto place = std::ranges::lower_bound(tops, pairs[std::size_t(i)].second, {},
                                                        [&](int top) { return pairs[std::size_t(top)].second; });
            if (place != tops.begin())
                before[std::size_t(i)] = *(place - 1);
            if (place == tops.end())
                tops.push_back(i);
            else
                *place = i;
        }
        std::vector<std::pair<int, int>> run;
        for (int i = tops.empty() ? -1 : tops.back(); i >= 0; i = before[std::size_t(i)])
            run.push_back(pairs[std::size_t(i)]);
        std::ranges::reverse(run);
        return run;
    }

    void longest(const Stretch& s)
    {
        const std::size_t rows = std::size_t(s.aLast - s.aFirst), columns = std::size_t(s.bLast - s.bFirst);
        if (rows * columns > lcsLimit)
            return;
        std::vector<int> table((rows + 1) * (columns + 1), 0);
        const auto cell = [&](std::size_t i, std::size_t j) -> int& { return table[i * (columns + 1) + j]; };
        const auto same = [&](std::size_t i, std::size_t j) {
            return m_a[std::size_t(s.aFirst) + i] == m_b[std::size_t(s.bFirst) + j];
        };
        for (std::size_t i = rows; i-- > 0;)
            for (std::size_t j = columns; j-- > 0;)
                cell(i, j) = same(i, j) ? cell(i + 1, j + 1) + 1 : std::max(cell(i + 1, j), cell(i, j + 1));
        for (std::size_t i = 0, j = 0; i < rows && j < columns;) {
            if (same(i, j))
                m_at[std::size_t(s.aFirst) + i++] = s.bFirst + int(j++);
            else if (cell(i + 1, j) >= cell(i, j + 1))
                ++i;
            else
                ++j;
        }
    }

    std::vector<int> m_a, m_b, m_at;
};

} // namespace

std::vector<int> matchLines(std::span<const QString> a, std::span<const QString> b)
{
    QHash<QString, int> numbers;
    const auto numbered = [&](std::span<const QString> lines) {
        std::vector<int> result;
        result.reserve(lines.size());
        for (const QString& line : lines) {
            auto known = numbers.find(line);
            if (known == numbers.end())
                known = numbers.insert(line, int(numbers.size()));
            result.push_back(*known);
        }
        return result;
    };
    std::vector<int> first = numbered(a);
    return Matcher(std::move(first), numbered(b)).run();
}

std::vector<ChangedLine> changeOf(std::span<const QString> a, std::span<const QString> b)
{
    std::vector<ChangedLine> result;
    int next = 0;
    const std::vector<int> at = matchLines(a, b);
    std::vector<int> removed;
    const auto addUpTo = [&](int end) {
        for (int line : removed)
            result.push_back({ChangedLine::Removed, line});
        removed.clear();
        for (; next < end; ++next)
            result.push_back({ChangedLine::Added, next});
    };
    for (int i = 0; i < int(a.size()); ++i) {
        const int j = at[std::size_t(i)];
        if (j < 0) {
            removed.push_back(i);
            continue;
        }
        addUpTo(j);
        result.push_back({ChangedLine::Same, next++});
    }
    addUpTo(int(b.size()));
    return result;
}

} // namespace espalier
