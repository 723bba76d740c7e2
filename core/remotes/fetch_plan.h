// SPDX-License-Identifier: MIT
//
// What a fetch does to the refs here, worked out from what the remote advertised: the same for every way of getting the
// objects. The rules are git's own (git-fetch(1), git-config(1)), within what isFetchable() allows. Private to core/remotes.
//
//     auto wanted = wantedRefs(advertised, settings);              // what has to be here before anything is written
//     FetchPlan plan = planFetch(advertised, settings, *wanted, refs, objects);
#pragma once

#include "core/git/oid.h"
#include "core/refs/ref_move.h"
#include "core/refs/refspec.h"

#include <functional>
#include <map>
#include <string>
#include <vector>

namespace espalier {

using Advertised = std::map<std::string, Oid>; // full names on the remote; a tag's commit under "name^{}"

struct FetchSettings {
    std::string remote;
    std::vector<Refspec> specs;
    enum class Tags { Followed, All, None } tags = Tags::Followed; // remote.<name>.tagOpt
    bool prune = false;
    std::vector<std::string> merges; // branch.<name>.merge of the branch that is checked out
    bool mergesHere = false;         // and branch.<name>.remote is this remote
};

// A ref of the remote and where it goes.
struct WantedRef {
    std::string source;
    Oid id;
    std::string destination; // empty: only FETCH_HEAD names it
    bool force = false;
    bool forMerge = false;
};

// Errors: NotFound when a refspec names a ref that the remote does not have; Refused when two refs would go to one place.
Result<std::vector<WantedRef>> wantedRefs(const Advertised& advertised, const FetchSettings& settings);

struct StandingRef {
    Oid id;
    bool symbolic = false;
};
using StandingRefs = std::map<std::string, StandingRef>; // of this repository, those that are fetchable

// What only the repository can tell.
struct FetchedObjects {
    std::function<bool(const Oid&)> has;
    std::function<Oid(const Oid&)> commitOf; // what it peels to; zero when that is no commit
    std::function<bool(const Oid& above, const Oid& below)> descends;
};

// Tags that come along because what they stand for is here, or is in `wanted`; never one that is here already.
std::vector<WantedRef> followedTags(const Advertised& advertised, const FetchSettings& settings,
                                    const std::vector<WantedRef>& wanted, const StandingRefs& refs,
                                    const std::function<bool(const Oid&)>& has);

struct FetchPlan {
    std::vector<RefMove> moves;    // new refs and those that move up
    std::vector<RefMove> replaced; // what they stood at is not reachable from where they go
    std::vector<RefMove> pruned;
    std::vector<std::string> gone;    // refs that the remote has no more and that stay: pruning is off
    std::vector<std::string> notices; // what was not done, a line each
};
FetchPlan planFetch(const Advertised& advertised, const FetchSettings& settings, const std::vector<WantedRef>& wanted,
                    const StandingRefs& refs, const FetchedObjects& objects);

// The text of FETCH_HEAD as git writes it; `url` without secrets.
std::string formatFetchHead(const std::vector<WantedRef>& wanted, std::string url,
                            const std::function<Oid(const Oid&)>& commitOf);

} // namespace espalier
