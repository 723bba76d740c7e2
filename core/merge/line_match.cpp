// SPDX-License-Identifier: MIT
#include "core/merge/line_match.h"

#include "core/merge/line_diff.h"

namespace espalier {

std::vector<int> matchNumbers(std::span<const std::uint32_t> a, std::span<const std::uint32_t> b)
{
    std::vector<int> at(a.size(), -1);
    int inA = 0, inB = 0;
    const auto runTo = [&](int end) {
        for (; inA < end; ++inA, ++inB)
            at[std::size_t(inA)] = inB;
    };
    for (const LineChange& change : diffLines(a, b, LineDiff::Myers)) {
        runTo(change.a);
        inA = change.a + change.aCount;
        inB = change.b + change.bCount;
    }
    runTo(int(a.size()));
    return at;
}

std::vector<int> matchLines(std::string_view a, std::string_view b)
{
    LineTable table;
    const Lines first = table.add(a), second = table.add(b, &first);
    return matchNumbers(first.ids, second.ids);
}

std::vector<ChangedLine> changeOf(std::string_view a, std::string_view b)
{
    LineTable table;
    const Lines first = table.add(a), second = table.add(b, &first);
    std::vector<ChangedLine> lines;
    int next = 0;
    const auto sameUpTo = [&](int end) {
        for (; next < end; ++next)
            lines.push_back({ChangedLine::Same, next});
    };
    for (const LineChange& change : diffLines(first.ids, second.ids, LineDiff::Myers)) {
        sameUpTo(change.b);
        for (int i = 0; i < change.aCount; ++i)
            lines.push_back({ChangedLine::Removed, change.a + i});
        for (int i = 0; i < change.bCount; ++i)
            lines.push_back({ChangedLine::Added, next++});
    }
    sameUpTo(second.count());
    return lines;
}

} // namespace espalier
