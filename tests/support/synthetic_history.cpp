// SPDX-License-Identifier: MIT
#include "tests/support/synthetic_history.h"

#include "core/history/history_data.h"

#include <algorithm>
#include <random>

namespace espalier::test {

SyntheticHistory randomShape(unsigned seed, std::size_t commits)
{
    std::mt19937 dice(seed);
    const auto below = [&](std::size_t limit) { return std::size_t(dice() % std::max<std::size_t>(limit, 1)); };
    // Grown oldest first and turned round at the end.
    std::vector<std::vector<std::size_t>> grown{{}};
    std::vector<std::size_t> main{0};
    std::vector<std::size_t> topics;
    while (grown.size() < commits) {
        const std::size_t what = below(100);
        const std::size_t next = grown.size();
        if (what < 30) {
            grown.push_back({main.back()});
            main.push_back(next);
        } else if (what < 50 || topics.empty()) {
            grown.push_back({main[main.size() - 1 - below(std::min<std::size_t>(main.size(), 60))]});
            topics.push_back(next);
        } else if (what < 75) {
            std::size_t& topic = topics[topics.size() - 1 - below(std::min<std::size_t>(topics.size(), 12))];
            grown.push_back({topic});
            topic = next;
        } else if (what < 90) {
            const std::size_t at = topics.size() - 1 - below(std::min<std::size_t>(topics.size(), 40));
            grown.push_back({main.back(), topics[at]});
            main.push_back(next);
            if (below(3) > 0)
                topics.erase(topics.begin() + std::ptrdiff_t(at));
        } else if (what < 96) {
            std::size_t& topic = topics[below(topics.size())];
            grown.push_back({topic, main.back()});
            topic = next;
        } else if (what < 98 && topics.size() > 3) {
            const std::size_t at = topics.size() - 3;
            grown.push_back({topics[at], topics[at + 1], topics[at + 2]});
            topics.resize(at + 1);
            topics[at] = next;
        } else {
            grown.push_back({});
            topics.push_back(next);
        }
    }
    const auto turned = [&](std::size_t index) { return Row(grown.size() - 1 - index); };
    SyntheticHistory shape;
    shape.parents.resize(grown.size());
    for (std::size_t at = 0; at < grown.size(); ++at)
        for (std::size_t parent : grown[at])
            shape.parents[turned(at)].push_back(turned(parent));
    shape.tips.push_back({turned(main.back()), Place::Upstream, "main"});
    for (std::size_t topic : topics)
        shape.tips.push_back({turned(topic), Place(below(3)), "topic/" + std::to_string(topic)});
    return shape;
}

SnapshotPtr snapshotOf(const SyntheticHistory& shape)
{
    auto snapshot = std::make_shared<Snapshot>();
    const std::size_t count = shape.parents.size();
    std::vector<Oid> ids(count);
    std::vector<std::int64_t> times(count);
    std::vector<std::uint32_t> starts{0};
    std::vector<Row> parents;
    for (std::size_t row = 0; row < count; ++row) {
        const std::uint64_t age = count - row;
        // Spread over the id's first bytes as real ids are.
        const std::uint64_t mixed = age * 0x9E3779B97F4A7C15ull;
        for (std::size_t byte = 0; byte < 8; ++byte) {
            ids[row].bytes[byte] = std::uint8_t(mixed >> (8 * (7 - byte)));
            ids[row].bytes[8 + byte] = std::uint8_t(age >> (8 * byte));
        }
        times[row] = 1'700'000'000 + std::int64_t(age) * shape.secondsACommit;
        parents.insert(parents.end(), shape.parents[row].begin(), shape.parents[row].end());
        starts.push_back(std::uint32_t(parents.size()));
    }
    snapshot->places.assign(count, 0);
    for (const auto& tip : shape.tips) {
        Ref ref;
        ref.place = tip.place;
        ref.branch = tip.branch;
        ref.kind = tip.place == Place::Clone ? RefKind::Branch : RefKind::RemoteBranch;
        ref.remote = tip.place == Place::Clone ? "" : std::string(placeName(tip.place));
        ref.name =
            tip.place == Place::Clone ? "refs/heads/" + tip.branch : "refs/remotes/" + ref.remote + "/" + tip.branch;
        ref.shortName = tip.place == Place::Clone ? tip.branch : ref.remote + "/" + tip.branch;
        ref.tip = ids[tip.row];
        ref.row = tip.row;
        snapshot->places[tip.row] |= placeBit(tip.place);
        snapshot->refs.push_back(ref);
    }
    for (std::size_t row = 0; row < count; ++row)
        for (Row parent : shape.parents[row])
            snapshot->places[parent] |= snapshot->places[row];
    const std::string mainName = snapshot->refs.empty() ? std::string() : snapshot->refs.front().name;
    std::ranges::sort(snapshot->refs, {}, &Ref::name);
    for (std::size_t at = 0; at < snapshot->refs.size(); ++at) {
        if (snapshot->refs[at].name == mainName)
            snapshot->mainLine = int(at);
        snapshot->refsByRow.emplace_back(snapshot->refs[at].row, int(at));
    }
    std::ranges::sort(snapshot->refsByRow);
    snapshot->history =
        HistoryBuilder::fromRows(std::move(ids), std::move(times), std::move(starts), std::move(parents));
    return snapshot;
}

} // namespace espalier::test
