// SPDX-License-Identifier: MIT
//
// The difference of two texts, line by line, as git's xdiff finds it with the histogram algorithm. Private to core/merge.
//
//     LineTable table;
//     Lines a = table.add("x\ny\n"), b = table.add("x\nz\n");
//     diffLines(a, b);       // {{1, 1, 1, 1}}
#pragma once

#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

namespace espalier {

// A text as line numbers: equal lines (line ends included) have equal numbers within one table.
struct Lines {
    std::vector<std::uint32_t> ids;
    std::vector<std::string_view> text; // with line ends
    int count() const { return int(ids.size()); }
};

class LineTable {
  public:
    // The views point into `text`, which must outlive them. `like`, if given, is what the first text added to this table
    // came out as; where they run in step lines are found by comparing bytes, which is quicker. The answer is the same.
    Lines add(std::string_view text, const Lines* like = nullptr);

  private:
    std::uint32_t idOf(std::string_view line);
    void grow();

    struct Known {
        std::string_view line;
        std::uint64_t hash = 0;
    };
    std::vector<int> m_places;          // in the first text, where a line of this number stands first
    std::vector<Known> m_known;         // by number
    std::vector<std::uint32_t> m_slots; // numbers plus one by hash, 0: free; a power of two, at most half full
};

// Lines [a, a + aCount) became lines [b, b + bCount).
struct LineChange {
    int a = 0, aCount = 0, b = 0, bCount = 0;
};

enum class LineDiff : std::uint8_t { Histogram, Myers };

// In order, never touching each other. `ids` are of one table.
std::vector<LineChange> diffLines(std::span<const std::uint32_t> a, std::span<const std::uint32_t> b,
                                  LineDiff algorithm = LineDiff::Histogram);

} // namespace espalier
