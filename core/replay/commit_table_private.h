// SPDX-License-Identifier: MIT
//
// What CommitTable keeps of commits, and its walks. Private to core/replay.
#pragma once

#include "core/git/overrides.h"
#include "core/history/commit_graph.h"
#include "core/replay/commit_table.h"

#include <map>
#include <optional>
#include <queue>
#include <unordered_map>

namespace espalier {

struct CommitTable::Data {
    using Index = std::uint32_t;

    enum Flag : std::uint8_t { Left = 1, Right = 2, Stale = 4, Found = 8, Member = 16 };

    struct Node {
        std::int64_t time = 0;
        Index firstParent = 0; // into Data::parents
        std::uint16_t parentCount = 0;
        bool known = false;
        std::uint8_t flags = 0;
        std::uint32_t queued = 0; // times that it waits in the queue of a walk
    };

    // A commit that a walk has yet to visit: the youngest first, of equals the one that came first.
    struct Waiting {
        std::int64_t time;
        std::uint32_t order;
        Index index;
        bool operator<(const Waiting& other) const
        {
            return time != other.time ? time < other.time : order > other.order;
        }
    };

    // What one commit reaches, walked youngest first and no further than has been asked for.
    //
    // That a commit is not in it is certain only when nothing on the edge leads there, however wrong the clocks are. So each
    // commit keeps how far down the line of first parents it hangs: all that hangs at or below a merge base on that line
    // is below the merge base, and of no interest to who asks what is above.
    struct Reach {
        struct Place {
            std::uint32_t depth = 0; // 1 + the lowest place on the line it is known to be reached from; 0: not reached
            bool visited = false;    // its parents are reached too
        };
        Oid from;
        std::vector<Index> line;   // first parents, from `from` to the first one that is not visited
        std::vector<Place> places; // by index
        std::vector<Index> reached;
        std::vector<Index> deeper;                 // visited, and found to hang lower since: so do its parents
        std::size_t moved = 0;                     // how many of those there were, the same one over and over
        std::priority_queue<Waiting> edge;         // reached, not visited
        std::map<std::uint32_t, std::size_t> open; // how many of the edge, by depth
        // All that hangs above `listedTo`, by depth; made as far as it was asked for.
        std::vector<Oid> listed;
        std::vector<std::uint32_t> depths; // of the listed
        std::uint32_t listedTo = 1;
        std::int64_t oldestListed = INT64_MAX;
        bool overtaken = false; // wrong clocks: something that was listed turned out to hang lower

        // Clocks can be made so wrong that this would never end; depths are then no more than the least that they may be.
        bool sure() const { return moved <= 16 * reached.size() + 100'000; }
        void listNothing()
        {
            listed.clear();
            depths.clear();
            listedTo = 1;
            oldestListed = INT64_MAX;
        }
        std::uint32_t depth(Index index) const { return index < places.size() ? places[index].depth : 0; }
        bool onLine(Index index) const
        {
            const std::uint32_t at = depth(index);
            return at > 0 && line[at - 1] == index;
        }
        void close(std::uint32_t depth)
        {
            const auto at = open.find(depth);
            if (--at->second == 0)
                open.erase(at);
        }
        void reach(Index index, std::int64_t time, std::uint32_t depth)
        {
            if (index >= places.size())
                places.resize(index + 1);
            Place& place = places[index];
            if (place.depth >= depth)
                return;
            overtaken = overtaken || std::max(place.depth, 1u) < listedTo;
            if (place.depth == 0) {
                reached.push_back(index);
                edge.push({time, std::uint32_t(reached.size()), index});
                ++open[depth];
            } else if (!place.visited) {
                close(place.depth);
                ++open[depth];
            } else {
                deeper.push_back(index);
            }
            place.depth = depth;
        }
    };

    std::size_t limit;
    const History* known = nullptr;
    Overrides overrides;
    std::optional<CommitGraph> graph; // not where overrides say otherwise
    std::unordered_map<Oid, Index> indices;
    std::vector<Oid> ids;
    std::vector<Node> nodes;
    std::vector<Index> parents;
    std::vector<Index> touched; // nodes whose flags a question has set
    Reach reach;                // of the last new base
    // What a merge base has above the line (see anchorOf), by the number of the question that marked it.
    std::vector<std::uint32_t> marks;
    std::uint32_t marked = 0;
    // The last answer of others(): the first `count` of what the reach lists, or a list of its own.
    struct Others {
        Oid tip, onto;
        std::size_t count = 0;
        std::uint32_t marked = 0; // the question whose marks those that are not meant have
        std::optional<std::vector<Oid>> own;
    };
    std::optional<Others> answered;

    // Before a question that comes from outside: indices are not kept from one to the next.
    void start()
    {
        unmark();
        if (nodes.size() <= limit)
            return;
        reach = {};
        answered.reset();
        indices.clear();
        ids.clear();
        nodes.clear();
        parents.clear();
    }

    void unmark()
    {
        for (const Index index : touched) {
            nodes[index].flags = 0;
            nodes[index].queued = 0;
        }
        touched.clear();
    }

    Index indexOf(const Oid& id)
    {
        const auto [at, isNew] = indices.try_emplace(id, Index(ids.size()));
        if (isNew) {
            ids.push_back(id);
            nodes.emplace_back();
        }
        return at->second;
    }

    void mark(Index index, std::uint8_t flags)
    {
        if (nodes[index].flags == 0)
            touched.push_back(index);
        nodes[index].flags |= flags;
    }

    Result<void> load(ObjectStore& store, Index index);
    void set(Index index, const std::vector<Oid>& parentIds, std::int64_t time);
    std::span<const Index> parentsOf(Index index) const
    {
        return std::span(parents).subspan(nodes[index].firstParent, nodes[index].parentCount);
    }

    bool newer(Index a, Index b) const { return nodes[a].time > nodes[b].time; }

    struct Painted {
        std::vector<Index> visited; // newest first, as far as the clocks are right
        std::vector<Index> found;   // candidates for merge bases, newest first
    };
    Result<Painted> paint(ObjectStore& store, Index left, std::span<const Index> rights, const Progress& progress);
    Result<std::vector<Index>> withoutRedundant(ObjectStore& store, std::vector<Index> found, const Progress& progress);
    Result<void> reachFrom(ObjectStore& store, const Oid& from);
    Result<void> extendReach(ObjectStore& store, std::int64_t downTo, std::uint32_t depth, const Progress& progress);
    Result<std::uint32_t> anchorOf(ObjectStore& store, Index from, const Progress& progress);
    struct Above {
        OwnCommits own;
        std::uint32_t anchor = 0; // of the merge base
    };
    Result<std::optional<Above>> ownAbove(ObjectStore& store, Index tip, const Progress& progress);
    Result<std::optional<std::size_t>> listAbove(ObjectStore& store, std::uint32_t depth, const Progress& progress);
};

} // namespace espalier
