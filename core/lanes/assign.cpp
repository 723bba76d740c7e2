// SPDX-License-Identifier: MIT
#include "core/lanes/lanes_data.h"

namespace espalier {

namespace {

constexpr std::uint32_t none = 0xFFFFFFFF;
// How far up a lane is kept for the commit that continues it: about a screenful, the only part of the picture that new
// commits on top may rearrange.
constexpr std::uint32_t lookAhead = 64;
// Lanes that may be kept so; the ones beyond are free in every row, so that every commit finds a place.
constexpr std::uint8_t keepable = 20;

// The further out a lane, the shorter the lines that may use it. A line that would need a lane further out becomes a stub;
// a project with a handful of topic branches never meets one.
bool mayRun(std::uint32_t lane, std::uint32_t length)
{
    return lane < 6 || (lane < 9 && length <= 300) || (lane < 12 && length <= 100) || (lane < keepable && length <= 24);
}

// The lanes of one band while rows are laid out upwards. Everything in a lane lies at `top` or below.
struct Band {
    std::array<std::uint32_t, 64> top;
    std::array<std::uint32_t, 64> keptFor; // the commit below `top` whose lane it is up to there
    std::uint8_t first = 0;                // 1 where the main line has lane 0

    Band()
    {
        top.fill(none);
        keptFor.fill(none);
    }
    // The innermost lane that is free from `parent` upwards and open to a line of that length; nothing when there is none.
    std::optional<std::uint8_t> forLine(std::uint32_t row, std::uint32_t parent) const
    {
        for (std::uint8_t lane = first; lane <= keepable; ++lane)
            if (top[lane] >= parent)
                return mayRun(lane, parent - row) ? std::optional(lane) : std::nullopt;
        return std::nullopt;
    }
    // The innermost lane that is free in `row` itself.
    std::uint8_t forNode(std::uint32_t row) const
    {
        std::uint8_t lane = first;
        while (lane < keepable && top[lane] <= row)
            ++lane;
        return lane;
    }
    void take(std::uint8_t lane, std::uint32_t row)
    {
        top[lane] = row;
        keptFor[lane] = none;
    }
};

class Assignment {
  public:
    explicit Assignment(Lanes::Data& data) : m_data(data) {}
    bool run(const Progress& progress);

  private:
    void findMainLine();
    void findHeirs();
    void placeCommit(std::uint32_t row);
    void placeFurther(std::uint32_t row, std::uint32_t parent, std::uint8_t& lane);
    bool continues(const Band& band, std::uint8_t lane, std::uint32_t parent, std::uint32_t row) const;
    Band& bandOf(std::uint32_t row) { return m_bands[std::size_t(m_data.bandOf(row))]; }

    Lanes::Data& m_data;
    std::array<Band, 3> m_bands;
    std::vector<bool> m_isMain;
    std::vector<std::uint32_t> m_heir; // the nearest commit above that may go on in a commit's lane
    std::size_t m_nextFurther = 0;     // counts down: lanes are found from the last row up
};

void Assignment::findMainLine()
{
    m_isMain.assign(m_data.count, false);
    const Ref* ref = m_data.snapshot->mainLineRef();
    if (!ref || ref->row == noRow)
        return;
    // Along the history and not along what is shown: where the rest of the main line is hidden, the first line that is left
    // may lead to a side branch.
    const History& history = m_data.snapshot->history;
    for (Row row = ref->row; row < history.size();) {
        const std::uint32_t display = m_data.everything ? row : m_data.displayOf[row];
        if (display != none && m_data.rowAt(display) == row) {
            m_isMain[display] = true;
            bandOf(display).first = 1;
        }
        const auto parents = history.parents(row);
        row = parents.empty() ? noRow : parents[0];
    }
}

void Assignment::findHeirs()
{
    m_heir.assign(m_data.count, none);
    std::size_t further = 0;
    for (std::uint32_t row = 0; row < m_data.count; ++row) {
        const auto parents = m_data.parentsOf(row);
        for (std::size_t k = 0; k < parents.size(); ++k) {
            const std::uint32_t parent = parents[k] & ~Lanes::Data::skipsBit;
            if (!m_isMain[parent] && (k > 0 || m_data.bandOf(parent) == m_data.bandOf(row)))
                m_heir[parent] = row;
        }
        further += parents.empty() ? 0 : parents.size() - 1;
    }
    m_data.further.assign(further, 0);
    m_nextFurther = further;
}

// Whether a line from `row` can go straight on in the lane in which its parent stands.
bool Assignment::continues(const Band& band, std::uint8_t lane, std::uint32_t parent, std::uint32_t row) const
{
    if (band.keptFor[lane] == parent)
        return m_heir[parent] == row;
    return band.top[lane] == parent && mayRun(lane, parent - row);
}

void Assignment::placeCommit(std::uint32_t row)
{
    Band& band = bandOf(row);
    const auto parents = m_data.parentsOf(row);
    if (m_isMain[row]) {
        m_data.lane[row] = 0;
        return;
    }
    std::uint8_t lane = 0;
    bool stub = false;
    if (parents.empty()) {
        lane = band.forNode(row);
    } else {
        const std::uint32_t parent = parents[0] & ~Lanes::Data::skipsBit;
        const std::uint8_t below = m_data.lane[parent] & Lanes::Data::laneMask;
        if (!m_isMain[parent] && m_data.bandOf(parent) == m_data.bandOf(row) && continues(band, below, parent, row)) {
            lane = below;
        } else if (const auto found = band.forLine(row, parent)) {
            lane = *found;
        } else {
            lane = band.forNode(row);
            stub = true;
        }
    }
    m_data.lane[row] = lane | (stub ? Lanes::Data::isStub : 0);
    m_data.stubs += stub;
    band.take(lane, row);
    if (m_heir[row] != none && row - m_heir[row] <= lookAhead && lane < keepable) {
        band.top[lane] = m_heir[row];
        band.keptFor[lane] = row;
    }
}

void Assignment::placeFurther(std::uint32_t row, std::uint32_t parent, std::uint8_t& lane)
{
    const std::uint8_t below = m_data.lane[parent] & Lanes::Data::laneMask;
    Band& parentBand = bandOf(parent);
    if (!m_isMain[parent] && continues(parentBand, below, parent, row)) {
        parentBand.take(below, row);
        lane = below | Lanes::Data::inParentsBand;
    } else if (const auto found = bandOf(row).forLine(row, parent)) {
        bandOf(row).take(*found, row);
        lane = *found;
    } else {
        lane = Lanes::Data::isStub;
        ++m_data.stubs;
    }
}

bool Assignment::run(const Progress& progress)
{
    findMainLine();
    findHeirs();
    m_data.lane.assign(m_data.count, 0);
    for (std::uint32_t row = m_data.count; row-- > 0;) {
        if ((row & 0xffff) == 0) {
            if (progress.stopped())
                return false;
            progress.report("Laying out", m_data.count - row, m_data.count);
        }
        placeCommit(row);
        const auto parents = m_data.parentsOf(row);
        for (std::size_t k = parents.size(); k-- > 1;)
            placeFurther(row, parents[k] & ~Lanes::Data::skipsBit, m_data.further[--m_nextFurther]);
    }
    return true;
}

} // namespace

bool assignLanes(Lanes::Data& data, const Progress& progress) { return Assignment(data).run(progress); }

} // namespace espalier
