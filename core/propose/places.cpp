// SPDX-License-Identifier: MIT
#include "core/propose/places.h"

#include "core/propose/words.h"

#include <algorithm>
#include <unordered_map>

namespace espalier {

namespace {

constexpr std::size_t fewest = 3, most = 8; // lines of the surroundings
constexpr std::size_t mostLooks = 2'000;    // a line that stands in more places says nothing about where it is

using LineList = std::vector<std::string_view>;

class Searched {
  public:
    explicit Searched(std::string_view text) : m_lines(linesIn(text))
    {
        for (std::size_t i = 0; i < m_lines.size(); ++i)
            m_at[m_lines[i]].push_back(int(i));
    }
    int count() const { return int(m_lines.size()); }

    // Where the last lines of `before` end, at or behind line `low`; nothing where that is not certain.
    std::optional<int> endOf(const LineList& before, int low) const
    {
        for (std::size_t n = std::min(most, before.size()); n >= std::min(fewest, before.size()); --n)
            if (const auto found = only(std::span(before).last(n), n - 1, low))
                return *found < 0 ? std::nullopt : std::optional(*found + int(n));
        return std::nullopt;
    }
    std::optional<int> startOf(const LineList& after, int low) const
    {
        for (std::size_t n = std::min(most, after.size()); n >= std::min(fewest, after.size()); --n)
            if (const auto found = only(std::span(after).first(n), 0, low))
                return *found < 0 ? std::nullopt : found;
        return std::nullopt;
    }

  private:
    // The one place of these lines; -1 where there are several, nothing where there is none. `anchor` is the line to begin with.
    std::optional<int> only(std::span<const std::string_view> lines, std::size_t anchor, int low) const
    {
        const auto known = m_at.find(lines[anchor]);
        if (known == m_at.end())
            return std::nullopt;
        if (known->second.size() > mostLooks)
            return -1;
        std::optional<int> found;
        for (const int at : known->second) {
            const int first = at - int(anchor);
            if (first < low || first + int(lines.size()) > count() ||
                !std::ranges::equal(lines, std::span(m_lines).subspan(std::size_t(first), lines.size())))
                continue;
            if (found)
                return -1;
            found = first;
        }
        return found;
    }

    LineList m_lines;
    std::unordered_map<std::string_view, std::vector<int>> m_at;
};

} // namespace

std::vector<std::optional<LineRange>> settledPlaces(std::span<const std::string_view> between, std::string_view settled)
{
    std::vector<std::optional<LineRange>> places;
    const Searched text(settled);
    int at = 0;
    LineList before = between.empty() ? LineList() : linesIn(between.front());
    for (std::size_t k = 0; k + 1 < between.size(); ++k) {
        LineList after = linesIn(between[k + 1]);
        places.emplace_back();
        std::optional<int> first, end;
        if (!before.empty())
            first = text.endOf(before, at);
        else if (k == 0)
            first = 0;
        if (first && !after.empty())
            end = text.startOf(after, *first);
        else if (first && k + 2 == between.size())
            end = text.count();
        if (first && end) {
            places.back() = LineRange{*first, *end - *first};
            at = *end;
        }
        before = std::move(after);
    }
    return places;
}

} // namespace espalier
