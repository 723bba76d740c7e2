// SPDX-License-Identifier: MIT
#include "core/remotes/take_back.h"
#include "core/remotes/push_place.h"

#include "core/git/commit.h"
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/refs/head.h"
#include "core/refs/ref_tips.h"
#include "core/remotes/fetching.h"
#include "core/remotes/push.h"
#include "core/remotes/push_orders.h"
#include "core/replay/commit_table.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostNamed = 8;
constexpr std::size_t mostCounted = 10'000;

Result<MovedBranch> describe(const Repository& repository, const RefMove& move, const Oid& now,
                             const std::string& localName, const Progress& progress)
{
    MovedBranch moved{move.name, now, 0, {}};
    if (now.isZero())
        return moved;
    // Every branch and tag but the one that moves, and not the refs that keep old tips, which nobody looks at.
    auto others = commitsOfRefs(
        repository, [&](std::string_view name) { return name != localName && !name.starts_with("refs/espalier/"); });
    if (!others)
        return std::unexpected(others.error());
    if (!move.old.isZero())
        others->push_back(move.old);
    ObjectStore store(repository);
    const auto commits = CommitTable(repository).reachedOnlyBy(store, now, *others, progress);
    if (!commits)
        return std::unexpected(commits.error());
    moved.count = std::min(mostCounted, commits->size());
    for (const Oid& id : std::span(*commits).first(std::min(mostNamed, commits->size()))) {
        const auto commit = readCommit(store, id);
        if (!commit)
            return std::unexpected(commit.error());
        moved.newest.push_back({id, commit->subject(), commit->author.name});
    }
    return moved;
}

// Where the entry's remote has its branches now, after a fetch; what is there is here.
Result<Advertised> lookAtEntry(const Repository& repository, const LogbookEntry& entry, const Access& access,
                               const Progress& progress)
{
    auto way = openTransport(repository, entry.remote, access, progress);
    if (!way)
        return std::unexpected(way.error());
    if (auto fetched = fetchAndLook(repository, entry.remote, **way, progress); !fetched)
        return std::unexpected(fetched.error());
    std::vector<std::string> refs;
    for (const RefMove& move : entry.moves)
        refs.push_back(move.name);
    return lookWherePushed(repository, **way, refs);
}

} // namespace

Result<std::vector<MovedBranch>> movedSince(const Repository& repository, const LogbookEntry& entry,
                                            const Access& access, const Progress& progress)
{
    Advertised heads;
    if (!entry.remote.empty()) {
        auto seen = lookAtEntry(repository, entry, access, progress);
        if (!seen)
            return std::unexpected(seen.error());
        heads = std::move(*seen);
    }
    std::vector<MovedBranch> all;
    for (const RefMove& move : entry.moves) {
        if (move.name == "HEAD")
            continue;
        Oid now;
        std::string localName = move.name;
        if (!entry.remote.empty()) {
            const auto at = heads.find(move.name);
            now = at == heads.end() ? Oid{} : at->second;
            localName = trackingRef(repository, entry.remote, move.name);
        } else if (auto read = readRef(raw(repository), move.name)) {
            now = *read;
        } else {
            return std::unexpected(read.error());
        }
        if (now == move.now || now == move.old)
            continue;
        auto moved = describe(repository, move, now, localName, progress);
        if (!moved)
            return std::unexpected(moved.error());
        all.push_back(std::move(*moved));
    }
    return all;
}

Result<std::string> takeBack(const Repository& repository, const LogbookEntry& entry,
                             const std::vector<MovedBranch>& agreed, const Access& access, const Progress& progress)
{
    if (!entry.remote.empty()) {
        // The lease is on what was agreed to: the server refuses when it moved once more.
        const std::optional<Oid> expect = agreed.empty() ? std::nullopt : std::optional(agreed.front().now);
        return restorePush(repository, entry.id, access, progress, expect).transform([](const Pushed& done) {
            return done.entry.title;
        });
    }
    bool evenIfMoved = false;
    if (!agreed.empty()) {
        const auto moved = movedSince(repository, entry, access, progress);
        if (!moved)
            return std::unexpected(moved.error());
        for (const MovedBranch& branch : *moved)
            if (std::ranges::none_of(agreed, [&](const MovedBranch& seen) {
                    return seen.name == branch.name && seen.now == branch.now;
                }))
                return fail(ErrorKind::Refused, "The branch moved once more", displayText(branch.name, 300),
                            "Nothing was changed; look at what would be lost again");
        evenIfMoved = true;
    }
    return restore(repository, entry.id, evenIfMoved, progress).transform([](const Applied& done) {
        return done.entry.title;
    });
}

} // namespace espalier
