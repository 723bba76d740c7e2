// SPDX-License-Identifier: MIT
#include "core/history/drift_counts.h"

#include <algorithm>
#include <array>

namespace espalier {

namespace {

constexpr std::uint32_t notEntered = 0xFFFFFFFF; // the main line does not reach it
constexpr std::int32_t noChain = -1;             // reaches no commit of the chain

// What a commit reaches beside all that entered up to its chain number.
struct OwnPart {
    std::uint32_t off = 0;  // not on the main line
    std::uint32_t late = 0; // on the main line, entered after
    Row newestLate = noRow;
};

class Counting {
  public:
    Counting(const History& history, Row mainLine, const Progress& progress) : m_history(history), m_progress(progress)
    {
        numberChain(mainLine);
    }

    Result<std::vector<TipCount>> count(std::span<const Row> tips)
    {
        std::vector<Row> rest;
        std::uint64_t budget = std::uint64_t(8) * m_history.size() + 1'000'000;
        for (const Row tip : tips)
            if (tip < m_history.size() && !measure(tip, budget))
                rest.push_back(tip);
        if (m_progress.stopped())
            return cancelled();
        std::vector<TipCount> counts;
        counts.reserve(tips.size());
        for (const Row tip : tips)
            counts.push_back(tip < m_history.size() && m_known[tip] ? answer(tip) : TipCount{});
        if (rest.empty())
            return counts;

        std::ranges::sort(rest);
        const auto doubles = std::ranges::unique(rest);
        rest.erase(doubles.begin(), doubles.end());
        std::vector<TipCount> byBits(rest.size());
        for (std::size_t from = 0; from < rest.size(); from += blockBits) {
            if (m_progress.stopped())
                return cancelled();
            m_progress.report("Counting drift", from, rest.size());
            const std::size_t size = std::min<std::size_t>(blockBits, rest.size() - from);
            countBlock(std::span(rest).subspan(from, size), std::span(byBits).subspan(from, size));
        }
        for (std::size_t i = 0; i < tips.size(); ++i)
            if (const auto at = std::ranges::lower_bound(rest, tips[i]); at != rest.end() && *at == tips[i])
                counts[i] = byBits[std::size_t(at - rest.begin())];
        return counts;
    }

  private:
    static constexpr std::size_t words = 4, blockBits = words * 64;
    using Bits = std::array<std::uint64_t, words>;

    void numberChain(Row mainLine)
    {
        const Row size = m_history.size();
        m_entered.assign(size, notEntered);
        m_chainNumber.assign(size, noChain);
        m_own.resize(size);
        m_known.assign(size, 0);
        std::vector<Row> waiting;
        for (Row row = mainLine;; row = m_history.parents(row)[0]) {
            m_chain.push_back(row);
            if (m_history.parents(row).empty())
                break;
        }
        std::ranges::reverse(m_chain);
        m_upTo.reserve(m_chain.size());
        for (std::uint32_t number = 0; number < m_chain.size(); ++number) {
            waiting.push_back(m_chain[number]);
            m_entered[m_chain[number]] = number;
            while (!waiting.empty()) {
                const Row row = waiting.back();
                waiting.pop_back();
                ++m_reached;
                for (const Row parent : m_history.parents(row))
                    if (m_entered[parent] == notEntered) {
                        m_entered[parent] = number;
                        waiting.push_back(parent);
                    }
            }
            m_upTo.push_back(m_reached);
        }
        for (std::uint32_t number = 0; number < m_chain.size(); ++number)
            m_chainNumber[m_chain[number]] = std::int32_t(number);
        // The highest chain number that a row reaches: from the oldest row up, for parents stand below.
        for (Row row = size; row-- > 0;)
            if (m_chainNumber[row] == noChain)
                for (const Row parent : m_history.parents(row))
                    m_chainNumber[row] = std::max(m_chainNumber[row], m_chainNumber[parent]);
        for (const Row row : m_chain)
            m_known[row] = 1;
    }

    bool covered(Row row, std::int32_t number) const
    {
        return m_entered[row] != notEntered && std::int64_t(m_entered[row]) <= number;
    }
    void addTo(OwnPart& part, Row row) const
    {
        if (m_entered[row] == notEntered) {
            ++part.off;
        } else {
            ++part.late;
            part.newestLate = std::min(part.newestLate, row);
        }
    }

    // Fills m_own[tip]; false when the budget is spent.
    bool measure(Row tip, std::uint64_t& budget)
    {
        if (budget == 0 && !m_known[tip])
            return false;
        std::vector<Row>& path = m_path;
        path.clear();
        Row row = tip;
        while (!m_known[row]) {
            const auto parents = m_history.parents(row);
            if (parents.size() > 1) {
                if (!walk(row, budget))
                    return false;
                break;
            }
            path.push_back(row);
            if (parents.empty())
                break;
            row = parents[0];
        }
        // A row without parents has itself only; every other has what its parent has, and itself unless it is covered.
        OwnPart part = m_known[row] ? m_own[row] : OwnPart{};
        for (std::size_t i = path.size(); i-- > 0;) {
            if (!covered(path[i], m_chainNumber[path[i]]))
                addTo(part, path[i]);
            m_own[path[i]] = part;
            m_known[path[i]] = 1;
        }
        return true;
    }

    // The own part of a merge, commit by commit.
    bool walk(Row merge, std::uint64_t& budget)
    {
        if (m_stamp.empty())
            m_stamp.assign(m_history.size(), 0);
        ++m_turn;
        const std::int32_t number = m_chainNumber[merge];
        OwnPart part;
        m_waiting.clear();
        const auto visit = [&](Row row) {
            if (m_stamp[row] == m_turn || covered(row, number))
                return;
            m_stamp[row] = m_turn;
            m_waiting.push_back(row);
        };
        visit(merge);
        while (!m_waiting.empty()) {
            if (budget == 0)
                return false;
            --budget;
            const Row row = m_waiting.back();
            m_waiting.pop_back();
            addTo(part, row);
            for (const Row parent : m_history.parents(row))
                visit(parent);
        }
        m_own[merge] = part;
        m_known[merge] = 1;
        return true;
    }

    TipCount answer(Row tip) const
    {
        const OwnPart& part = m_own[tip];
        const std::int32_t number = m_chainNumber[tip];
        TipCount count;
        count.ahead = part.off;
        count.behind = m_reached - part.late;
        if (number != noChain) {
            count.behind -= m_upTo[std::size_t(number)];
            count.mergeBase = m_chain[std::size_t(number)];
        }
        // The newest common commit has no common commit above it.
        count.mergeBase = std::min(count.mergeBase, part.newestLate);
        return count;
    }

    // Counters of a block, bit-sliced: plane i holds bit i of all 256 counters.
    struct Counters {
        std::array<Bits, 32> planes{};
        void add(std::size_t word, std::uint64_t carry)
        {
            for (std::size_t i = 0; carry != 0 && i < planes.size(); ++i) {
                const std::uint64_t next = planes[i][word] & carry;
                planes[i][word] ^= carry;
                carry = next;
            }
        }
        std::uint32_t value(std::size_t bit) const
        {
            std::uint32_t sum = 0;
            for (std::size_t i = 0; i < planes.size(); ++i)
                sum |= std::uint32_t(planes[i][bit / 64] >> (bit % 64) & 1) << i;
            return sum;
        }
    };

    void countBlock(std::span<const Row> tips, std::span<TipCount> counts)
    {
        m_bits.assign(m_history.size(), Bits{});
        for (std::size_t i = 0; i < tips.size(); ++i)
            m_bits[tips[i]][i / 64] |= std::uint64_t(1) << (i % 64);
        Counters off, common;
        Bits seenCommon{};
        for (Row row = tips.front(); row < m_history.size(); ++row) {
            const Bits bits = m_bits[row];
            if ((bits[0] | bits[1] | bits[2] | bits[3]) == 0)
                continue;
            const bool onMain = m_entered[row] != notEntered;
            Counters& counters = onMain ? common : off;
            for (std::size_t w = 0; w < words; ++w) {
                counters.add(w, bits[w]);
                if (onMain) {
                    for (std::uint64_t fresh = bits[w] & ~seenCommon[w]; fresh != 0; fresh &= fresh - 1)
                        counts[w * 64 + std::size_t(std::countr_zero(fresh))].mergeBase = row;
                    seenCommon[w] |= bits[w];
                }
            }
            for (const Row parent : m_history.parents(row))
                for (std::size_t w = 0; w < words; ++w)
                    m_bits[parent][w] |= bits[w];
        }
        for (std::size_t i = 0; i < tips.size(); ++i) {
            counts[i].ahead = off.value(i);
            counts[i].behind = m_reached - common.value(i);
        }
    }

    const History& m_history;
    const Progress& m_progress;
    std::vector<Row> m_chain;                // by chain number
    std::vector<std::uint32_t> m_upTo;       // by chain number: how many commits it reaches
    std::vector<std::uint32_t> m_entered;    // by row
    std::vector<std::int32_t> m_chainNumber; // by row
    std::vector<OwnPart> m_own;              // by row, where m_known
    std::vector<std::uint8_t> m_known;
    std::uint32_t m_reached = 0;        // by the main line
    std::vector<std::uint32_t> m_stamp; // the walk that saw a row last
    std::uint32_t m_turn = 0;
    std::vector<Row> m_waiting, m_path;
    std::vector<Bits> m_bits;
};

} // namespace

Result<std::vector<TipCount>> countTips(const History& history, Row mainLine, std::span<const Row> tips,
                                        const Progress& progress)
{
    if (mainLine >= history.size())
        return fail(ErrorKind::Usage, "There is no main line to measure drift against", {},
                    "Choose the upstream remote, or check out a branch");
    return Counting(history, mainLine, progress).count(tips);
}

Result<std::vector<AheadBehind>> driftOfAll(const History& history, Row mainLine, std::span<const Row> tips,
                                            const Progress& progress)
{
    auto counts = countTips(history, mainLine, tips, progress);
    if (!counts)
        return std::unexpected(counts.error());
    std::vector<AheadBehind> result;
    result.reserve(counts->size());
    for (const TipCount& count : *counts)
        result.push_back({count.ahead, count.behind});
    return result;
}

} // namespace espalier
