// SPDX-License-Identifier: MIT
//
// Walks a finished layout downwards, row by row, knowing the lines that cross each row. Private to core/lanes.
#pragma once

#include "core/lanes/lanes_data.h"

namespace espalier {

class Sweep {
  public:
    // Begins at the checkpoint at or above `row`; at the top when there are none yet.
    Sweep(const Lanes::Data& data, std::uint32_t row) : m_data(data)
    {
        const std::uint32_t at = row / Lanes::Data::interval;
        if (at >= data.checkpoints.size())
            return;
        m_row = at * Lanes::Data::interval;
        const std::uint32_t end =
            at + 1 < data.checkpoints.size() ? data.checkpoints[at + 1].firstLine : std::uint32_t(data.lines.size());
        m_lines.assign(data.lines.begin() + data.checkpoints[at].firstLine, data.lines.begin() + end);
        m_further = data.checkpoints[at].firstFurther;
    }

    std::uint32_t row() const { return m_row; }
    std::uint32_t nextFurther() const { return m_further; }
    // The lines that cross the top edge of the row.
    const std::vector<ActiveLine>& lines() const { return m_lines; }

    // Calls `line(ActiveLine, bool stub)` for each line that starts in the row.
    template <typename Line> void starting(Line&& line) const
    {
        const auto parents = m_data.parentsOf(m_row);
        std::uint32_t further = m_further;
        for (std::size_t k = 0; k < parents.size(); ++k) {
            const std::uint8_t code = k == 0 ? m_data.lane[m_row] : m_data.further[further++];
            const std::uint32_t parent = parents[k] & ~Lanes::Data::skipsBit;
            const bool atParent = k > 0 && (code & Lanes::Data::inParentsBand);
            const bool stub = code & Lanes::Data::isStub;
            // A further parent's stub has no lane of its own.
            const std::uint8_t lane = (stub ? m_data.lane[m_row] : code) & Lanes::Data::laneMask;
            line(ActiveLine{m_row, parent, std::uint8_t(m_data.bandOf(atParent ? parent : m_row)), lane, k > 0,
                            (parents[k] & Lanes::Data::skipsBit) != 0},
                 stub);
        }
    }

    void down()
    {
        std::erase_if(m_lines, [this](const ActiveLine& line) { return line.parent == m_row; });
        std::uint32_t count = 0;
        starting([&](const ActiveLine& line, bool stub) {
            if (!stub)
                m_lines.push_back(line);
            ++count;
        });
        m_further += count > 0 ? count - 1 : 0;
        ++m_row;
    }

  private:
    const Lanes::Data& m_data;
    std::uint32_t m_row = 0;
    std::uint32_t m_further = 0;
    std::vector<ActiveLine> m_lines;
};

} // namespace espalier
