// SPDX-License-Identifier: MIT
#include "core/remotes/overwrite_check.h"

#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/history/equivalence.h"
#include "core/refs/head.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"
#include "core/remotes/push_orders.h"
#include "core/remotes/push_place.h"

#include <set>

namespace espalier {

namespace {

constexpr std::size_t maxCommits = 5000;

// What `tip` reaches and neither `without` nor the upstream does, newest first.
Result<std::vector<Oid>> onlyIn(const Repository& repository, const Oid& tip, const Oid& without,
                                const std::vector<Oid>& upstream, std::size_t most)
{
    std::vector<Oid> commits;
    if (tip.isZero())
        return commits;
    Handle<git_revwalk> walk;
    const git_oid from = toGit(tip);
    if (git_revwalk_new(out(walk), raw(repository)) < 0 || git_revwalk_push(walk.get(), &from) < 0)
        return libgitError("The history cannot be read", tip.hex());
    git_revwalk_sorting(walk.get(), GIT_SORT_TOPOLOGICAL | GIT_SORT_TIME);
    for (const Oid& hidden : upstream) {
        const git_oid id = toGit(hidden);
        git_revwalk_hide(walk.get(), &id);
    }
    if (!without.isZero()) {
        const git_oid id = toGit(without);
        git_revwalk_hide(walk.get(), &id);
    }
    git_oid id;
    while (git_revwalk_next(&id, walk.get()) == 0) {
        if (commits.size() == most)
            return fail(ErrorKind::Unsupported,
                        "The two versions differ by more than " + std::to_string(most) + " commits", tip.hex(),
                        "Check that this is the branch you mean");
        commits.push_back(fromGit(id));
    }
    return commits;
}

// Whatever stands below these stays when the fork's branch is overwritten.
std::vector<Oid> upstreamTips(const Repository& repository, const OverwriteCheck& check)
{
    std::vector<Oid> tips;
    const Roles roles = guessRoles(repository, readRemotes(repository));
    if (roles.upstream.empty())
        return tips;
    // Of one remote that plays both parts it is the main line, unless that is what is overwritten.
    const std::string own = trackingRef(repository, check.remote, check.remoteRef);
    const std::string pattern = "refs/remotes/" + roles.upstream + (roles.oneForBoth() ? "/HEAD" : "/*");
    Handle<git_reference_iterator> refs;
    if (git_reference_iterator_glob_new(out(refs), raw(repository), pattern.c_str()) < 0)
        return tips;
    for (Handle<git_reference> ref; git_reference_next(out(ref), refs.get()) == 0;) {
        if (const char* target = git_reference_symbolic_target(ref.get());
            target && roles.oneForBoth() && own == target)
            continue;
        Handle<git_object> commit;
        if (git_reference_peel(out(commit), ref.get(), GIT_OBJECT_COMMIT) == 0)
            tips.push_back(fromGit(*git_object_id(commit.get())));
    }
    return tips;
}

// A version may stand on any number of the upstream's commits; the versions themselves are what a person has written.
Result<std::vector<Oid>> landedAmong(const Repository& repository, const OverwriteCheck& check,
                                     const std::vector<Oid>& own)
{
    auto all = onlyIn(repository, check.localTip, check.remoteTip, {}, std::numeric_limits<std::size_t>::max());
    if (!all)
        return all;
    const std::set<Oid> known(own.begin(), own.end());
    std::erase_if(*all, [&](const Oid& id) { return known.contains(id); });
    return all;
}

Result<void> compare(const Repository& repository, OverwriteCheck& check, const Progress& progress)
{
    const std::vector<Oid> upstream = upstreamTips(repository, check);
    auto before = onlyIn(repository, check.remoteTip, check.localTip, upstream, maxCommits);
    if (!before)
        return std::unexpected(before.error());
    auto now = onlyIn(repository, check.localTip, check.remoteTip, upstream, maxCommits);
    if (!now)
        return std::unexpected(now.error());
    VersionIds ids{std::move(*before), std::move(*now), {}};
    ids.landedAmong = [&] { return landedAmong(repository, check, ids.now); };
    ObjectStore store(repository);
    EquivalenceCache cache;
    const auto pairs = pairVersions(store, ids, cache, progress);
    if (!pairs)
        return std::unexpected(pairs.error());
    Replacement found = replacementOf(*pairs, addressesOfUser(repository));
    check.pairs = std::move(found.replaced);
    check.added = std::move(found.added);
    check.removed = std::move(found.removed);
    check.foreign = std::move(found.foreign);
    return {};
}

void addCautions(OverwriteCheck& check)
{
    const std::string there = displayText(check.remote + "/" + shortBranchName(check.remoteRef), 300);
    if (!check.foreign.empty()) {
        check.cautions.push_back(counted(check.foreign.size(), "commit", "commits") + " of " +
                                 authorsOf(check.foreign) + " would be lost. To keep them, carry them over from " +
                                 there + " onto your branch first");
    }
    if (!check.removed.empty() && !check.fastForward)
        check.cautions.push_back(counted(check.removed.size(), "commit", "commits") + " of yours " +
                                 (check.removed.size() == 1 ? "is" : "are") + " only on " + there +
                                 ", perhaps pushed from another computer");
}

} // namespace

Result<OverwriteCheck> overwriteCheck(const Repository& repository, const std::string& branch, bool fetchFirst,
                                      const Access& access, const Progress& progress)
{
    OverwriteCheck check;
    check.branch = branch;
    auto place = pushPlace(repository, branch);
    if (!place)
        return std::unexpected(place.error());
    check.remote = std::move(place->remote);
    check.remoteRef = std::move(place->ref);
    auto tip = readRef(raw(repository), branchRef(branch));
    if (!tip)
        return std::unexpected(tip.error());
    if (tip->isZero())
        return fail(ErrorKind::NotFound, "There is no such branch", displayText(branch, 300),
                    "Look at the list of branches");
    check.localTip = *tip;
    auto way = openTransport(repository, check.remote, access, progress);
    if (!way)
        return std::unexpected(way.error());
    Result<Advertised> heads;
    if (fetchFirst) {
        auto fetched = fetchAndLook(repository, check.remote, **way, progress);
        if (!fetched)
            return std::unexpected(fetched.error());
        heads = std::move(fetched->heads);
    }
    // What counts is what stands where the push goes, which may be another address.
    const auto sides = (*way)->pushAddresses();
    if (!sides)
        return std::unexpected(sides.error());
    if (!fetchFirst || sides->size() > 1 || sides->front() != (*way)->address())
        heads = lookWherePushed(repository, **way, {check.remoteRef}, fetchFirst);
    if (!heads)
        return std::unexpected(heads.error());
    if (const auto at = heads->find(check.remoteRef); at != heads->end())
        check.remoteTip = at->second;
    check.upToDate = check.remoteTip == check.localTip;
    if (!check.remoteTip.isZero() && !hasCommit(repository, check.remoteTip))
        return fail(ErrorKind::Refused, "The fork's tip was never fetched", check.remoteTip.hex(), "Fetch first");
    check.fastForward =
        check.upToDate || check.remoteTip.isZero() || descendsFrom(repository, check.localTip, check.remoteTip);
    if (!check.upToDate) {
        if (auto compared = compare(repository, check, progress); !compared)
            return std::unexpected(compared.error());
    }
    addCautions(check);
    return check;
}

} // namespace espalier
