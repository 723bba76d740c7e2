// SPDX-License-Identifier: MIT
#include "core/settle/indent_habit.h"

#include <algorithm>
#include <array>

namespace espalier {

IndentHabit indentHabit(std::string_view text)
{
    constexpr std::size_t mostBytes = std::size_t(1) << 20;
    constexpr std::size_t widest = 8;
    text = text.substr(0, mostBytes);
    int tabs = 0, blanks = 0;
    std::array<int, widest + 1> steps{}; // how often one line stands so many blanks deeper than the one before
    std::size_t before = 0;
    while (!text.empty()) {
        const std::string_view line = text.substr(0, text.find('\n'));
        text.remove_prefix(std::min(line.size() + 1, text.size()));
        const std::size_t first = line.find_first_not_of(' ');
        if (first == std::string_view::npos || line[first] == '\r')
            continue;
        tabs += line.front() == '\t';
        blanks += first >= 2; // a single one is no step: a comment's star
        if (first > before + 1 && first - before <= widest)
            ++steps[first - before];
        before = first;
    }
    if (tabs == 0 && blanks == 0)
        return {};
    if (tabs > blanks)
        return {IndentHabit::Tabs};
    const auto most = std::ranges::max_element(steps);
    return {IndentHabit::Blanks, *most == 0 ? 4 : int(most - steps.begin())};
}

} // namespace espalier
