// SPDX-License-Identifier: MIT
#include "core/merge/myers.h"

#include <algorithm>
#include <limits>

namespace espalier {

namespace {

using Classes = std::span<const std::uint32_t>;

constexpr long snakeLength = 20;
constexpr long heuristicCost = 256;
constexpr long farAway = std::numeric_limits<long>::max();

// A power of two near the square root.
long roughRoot(long n)
{
    long root = 1;
    for (; n > 0; n >>= 2)
        root <<= 1;
    return root;
}

struct Split {
    long a = 0, b = 0;
    bool exactLow = false, exactHigh = false;
};

class Search {
  public:
    Search(const std::vector<std::uint32_t>& a, const std::vector<std::uint32_t>& b, const std::vector<int>& whereA,
           const std::vector<int>& whereB, char* changedA, char* changedB)
        : m_a(a), m_b(b), m_whereA(whereA), m_whereB(whereB), m_changedA(changedA), m_changedB(changedB)
    {
        const long diagonals = long(a.size() + b.size()) + 3;
        m_store.resize(2 * std::size_t(diagonals) + 2);
        m_forward = m_store.data() + b.size() + 1;
        m_backward = m_forward + diagonals;
        m_costLimit = std::max(roughRoot(diagonals), 256l);
    }

    // A list of what is left in place of calls within calls: texts can be made that are split off-centre again and again.
    void compare(long aSize, long bSize)
    {
        m_waiting.push_back({{0, aSize, 0, bSize}, false});
        while (!m_waiting.empty()) {
            const auto [box, exact] = m_waiting.back();
            m_waiting.pop_back();
            compare(box, exact);
        }
    }

  private:
    struct Box {
        long a0, a1, b0, b1;
    };

    void compare(const Box& box, bool exact)
    {
        auto [a0, a1, b0, b1] = box;
        for (; a0 < a1 && b0 < b1 && m_a[a0] == m_b[b0]; ++a0, ++b0) {
        }
        for (; a0 < a1 && b0 < b1 && m_a[a1 - 1] == m_b[b1 - 1]; --a1, --b1) {
        }
        if (a0 == a1) {
            for (; b0 < b1; ++b0)
                m_changedB[m_whereB[b0]] = 1;
        } else if (b0 == b1) {
            for (; a0 < a1; ++a0)
                m_changedA[m_whereA[a0]] = 1;
        } else {
            const Split at = split(a0, a1, b0, b1, exact);
            m_waiting.push_back({{at.a, a1, at.b, b1}, at.exactHigh});
            m_waiting.push_back({{a0, at.a, b0, at.b}, at.exactLow});
        }
    }

    Split split(long a0, long a1, long b0, long b1, bool exact)
    {
        const Box box{a0, a1, b0, b1};
        const long dmin = a0 - b1, dmax = a1 - b0, fmid = a0 - b0, bmid = a1 - b1;
        const bool odd = (fmid - bmid) & 1;
        long fmin = fmid, fmax = fmid, bmin = bmid, bmax = bmid;
        long* const kf = m_forward;
        long* const kb = m_backward;
        kf[fmid] = a0;
        kb[bmid] = a1;
        for (long cost = 1;; ++cost) {
            bool snake = false;
            if (fmin > dmin)
                kf[--fmin - 1] = -1;
            else
                ++fmin;
            if (fmax < dmax)
                kf[++fmax + 1] = -1;
            else
                --fmax;
            for (long d = fmax; d >= fmin; d -= 2) {
                long i = kf[d - 1] >= kf[d + 1] ? kf[d - 1] + 1 : kf[d + 1];
                const long from = i;
                long j = i - d;
                for (; i < a1 && j < b1 && m_a[i] == m_b[j]; ++i, ++j) {
                }
                snake = snake || i - from > snakeLength;
                kf[d] = i;
                if (odd && bmin <= d && d <= bmax && kb[d] <= i)
                    return {i, j, true, true};
            }
            if (bmin > dmin)
                kb[--bmin - 1] = farAway;
            else
                ++bmin;
            if (bmax < dmax)
                kb[++bmax + 1] = farAway;
            else
                --bmax;
            for (long d = bmax; d >= bmin; d -= 2) {
                long i = kb[d - 1] < kb[d + 1] ? kb[d - 1] : kb[d + 1] - 1;
                const long from = i;
                long j = i - d;
                for (; i > a0 && j > b0 && m_a[i - 1] == m_b[j - 1]; --i, --j) {
                }
                snake = snake || from - i > snakeLength;
                kb[d] = i;
                if (!odd && fmin <= d && d <= fmax && i <= kf[d])
                    return {i, j, true, true};
            }
            if (exact)
                continue;
            if (snake && cost > heuristicCost) {
                Split found;
                if (goodSnake(box, cost, fmin, fmax, fmid, bmin, bmax, bmid, found))
                    return found;
            }
            if (cost >= m_costLimit)
                return furthest(box, fmin, fmax, bmin, bmax);
        }
    }

    bool goodSnake(const Box& box, long cost, long fmin, long fmax, long fmid, long bmin, long bmax, long bmid,
                   Split& found) const
    {
        long best = 0;
        for (long d = fmax; d >= fmin; d -= 2) {
            const long i = m_forward[d], j = i - d;
            const long value = (i - box.a0) + (j - box.b0) - std::abs(d - fmid);
            if (value > 4 * cost && value > best && box.a0 + snakeLength <= i && i < box.a1 &&
                box.b0 + snakeLength <= j && j < box.b1)
                for (long k = 1; m_a[i - k] == m_b[j - k]; ++k)
                    if (k == snakeLength) {
                        best = value;
                        found = {i, j, true, false};
                        break;
                    }
        }
        if (best > 0)
            return true;
        for (long d = bmax; d >= bmin; d -= 2) {
            const long i = m_backward[d], j = i - d;
            const long value = (box.a1 - i) + (box.b1 - j) - std::abs(d - bmid);
            if (value > 4 * cost && value > best && box.a0 < i && i <= box.a1 - snakeLength && box.b0 < j &&
                j <= box.b1 - snakeLength)
                for (long k = 0; m_a[i + k] == m_b[j + k]; ++k)
                    if (k == snakeLength - 1) {
                        best = value;
                        found = {i, j, false, true};
                        break;
                    }
        }
        return best > 0;
    }

    Split furthest(const Box& box, long fmin, long fmax, long bmin, long bmax) const
    {
        long ahead = -1, aheadA = -1;
        for (long d = fmax; d >= fmin; d -= 2) {
            long i = std::min(m_forward[d], box.a1), j = i - d;
            if (box.b1 < j)
                i = box.b1 + d, j = box.b1;
            if (ahead < i + j)
                ahead = i + j, aheadA = i;
        }
        long behind = farAway, behindA = farAway;
        for (long d = bmax; d >= bmin; d -= 2) {
            long i = std::max(box.a0, m_backward[d]), j = i - d;
            if (j < box.b0)
                i = box.b0 + d, j = box.b0;
            if (i + j < behind)
                behind = i + j, behindA = i;
        }
        if (box.a1 + box.b1 - behind < ahead - (box.a0 + box.b0))
            return {aheadA, ahead - aheadA, true, false};
        return {behindA, behind - behindA, false, true};
    }

    const std::vector<std::uint32_t>&m_a, &m_b;
    const std::vector<int>&m_whereA, &m_whereB;
    char* m_changedA;
    char* m_changedB;
    std::vector<std::pair<Box, bool>> m_waiting;
    std::vector<long> m_store;
    long* m_forward;
    long* m_backward;
    long m_costLimit;
};

// Whether a line that occurs too often stands in a crowd of lines without partners, and so is better set aside too.
bool inCrowd(const std::vector<char>& kinds, long at, long first, long last)
{
    constexpr long window = 100;
    first = std::max(first, at - window);
    last = std::min(last, at + window);
    const auto look = [&](long step, long& lonely, long& often) {
        for (long i = at + step; i >= first && i <= last; i += step) {
            if (kinds[i] == 0)
                ++lonely;
            else if (kinds[i] == 2)
                ++often;
            else
                break;
        }
    };
    long lonelyBefore = 0, often = 2, lonelyAfter = 0;
    look(-1, lonelyBefore, often);
    if (lonelyBefore == 0)
        return false;
    look(1, lonelyAfter, often);
    if (lonelyAfter == 0)
        return false;
    return often * 4 < often + lonelyBefore + lonelyAfter;
}

void setAside(Classes lines, long first, long last, const std::vector<std::uint32_t>& inOther, char* changed,
              std::vector<std::uint32_t>& kept, std::vector<int>& where)
{
    const long limit = std::min(roughRoot(long(lines.size())), 1024l);
    std::vector<char> kinds(lines.size() + 1, 0);
    for (long i = first; i <= last; ++i) {
        const std::uint32_t partners = inOther[lines[i]];
        kinds[i] = partners == 0 ? 0 : long(partners) >= limit ? 2 : 1;
    }
    for (long i = first; i <= last; ++i) {
        if (kinds[i] == 1 || (kinds[i] == 2 && !inCrowd(kinds, i, first, last))) {
            kept.push_back(lines[i]);
            where.push_back(int(i));
        } else {
            changed[i] = 1;
        }
    }
}

} // namespace

void classicDiff(Classes a, Classes b, std::uint32_t classCount, char* changedA, char* changedB)
{
    std::vector<std::uint32_t> inA(classCount, 0), inB(classCount, 0);
    for (const std::uint32_t line : a)
        ++inA[line];
    for (const std::uint32_t line : b)
        ++inB[line];
    const long shorter = long(std::min(a.size(), b.size()));
    long head = 0, tail = 0;
    while (head < shorter && a[head] == b[head])
        ++head;
    while (tail < shorter - head && a[a.size() - 1 - tail] == b[b.size() - 1 - tail])
        ++tail;
    std::vector<std::uint32_t> keptA, keptB;
    std::vector<int> whereA, whereB;
    setAside(a, head, long(a.size()) - tail - 1, inB, changedA, keptA, whereA);
    setAside(b, head, long(b.size()) - tail - 1, inA, changedB, keptB, whereB);
    Search(keptA, keptB, whereA, whereB, changedA, changedB).compare(long(keptA.size()), long(keptB.size()));
}

} // namespace espalier
