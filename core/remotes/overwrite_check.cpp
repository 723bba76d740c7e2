// SPDX-License-Identifier: MIT
#include "core/remotes/overwrite_check.h"

#include "core/git/commit.h"
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/history/equivalence.h"
#include "core/refs/head.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"
#include "core/remotes/push_orders.h"
#include "core/remotes/push_place.h"
#include "core/replay/commit_table.h"

#include <algorithm>
#include <map>
#include <set>

namespace espalier {

namespace {

constexpr std::size_t maxCommits = 5000;

// One table for all questions of a check.
struct Walks {
    explicit Walks(const Repository& of) : repository(of), store(of), table(of) {}
    const Repository& repository;
    ObjectStore store;
    CommitTable table;
};

// What `tip` reaches and neither `without` nor the upstream does, in topological order: the first `most` of them.
Result<std::vector<Oid>> newestOf(Walks& walks, const Oid& tip, const Oid& without, const std::vector<Oid>& upstream,
                                  std::size_t most, const Progress& progress)
{
    if (tip.isZero())
        return std::vector<Oid>();
    std::vector<Oid> others = upstream;
    if (!without.isZero())
        others.push_back(without);
    auto commits = walks.table.reachedOnlyBy(walks.store, tip, others, progress);
    if (commits && commits->size() > most)
        commits->resize(most);
    return commits;
}

// All of them.
Result<std::vector<Oid>> onlyIn(Walks& walks, const Oid& tip, const Oid& without, const std::vector<Oid>& upstream,
                                const Progress& progress)
{
    auto commits = newestOf(walks, tip, without, upstream, maxCommits + 1, progress);
    if (commits && commits->size() > maxCommits) {
        std::string message = "The two versions differ by more than ";
        message.append(std::to_string(maxCommits)).append(" commits");
        return fail(ErrorKind::Unsupported, std::move(message), tip.hex(), "Check that this is the branch you mean");
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
        if (!pullRequestOf(git_reference_name(ref.get())).empty())
            continue; // it shows the very branch, or somebody else's
        Handle<git_object> commit;
        if (git_reference_peel(out(commit), ref.get(), GIT_OBJECT_COMMIT) == 0)
            tips.push_back(fromGit(*git_object_id(commit.get())));
    }
    return tips;
}

// A version may stand on any number of the upstream's commits; the versions themselves are what a person has written.
Result<std::vector<Oid>> landedAmong(Walks& walks, const OverwriteCheck& check, const std::vector<Oid>& own,
                                     const Progress& progress)
{
    auto all = newestOf(walks, check.localTip, check.remoteTip, {}, std::numeric_limits<std::size_t>::max(), progress);
    if (!all)
        return all;
    const std::set<Oid> known(own.begin(), own.end());
    std::erase_if(*all, [&](const Oid& id) { return known.contains(id); });
    return all;
}

// Where the clone's version leaves the upstream, and what of it both versions have.
Result<void> findBase(Walks& walks, OverwriteCheck& check, const std::vector<Oid>& now,
                      const std::vector<Oid>& upstream, const Progress& progress)
{
    if (upstream.empty())
        return {};
    auto own = newestOf(walks, check.localTip, {}, upstream, now.size() + OverwriteCheck::mostKept, progress);
    if (!own)
        return std::unexpected(own.error());
    const std::set<Oid> isOwn(own->begin(), own->end()), isNow(now.begin(), now.end());
    for (const Oid& id : *own) {
        if (isNow.contains(id))
            continue;
        auto summary = summaryOf(walks.store, id);
        if (!summary)
            return std::unexpected(summary.error());
        check.kept.push_back(std::move(*summary));
    }
    Oid at = check.localTip;
    while (isOwn.contains(at)) {
        const auto commit = readCommit(walks.store, at);
        if (!commit)
            return std::unexpected(commit.error());
        at = commit->parents.empty() ? Oid() : commit->parents.front();
    }
    // With more own commits than were looked at, what both versions have is as good a base.
    check.newBase = own->size() < now.size() + OverwriteCheck::mostKept || check.remoteTip.isZero()
                        ? at
                        : mergeBase(walks.repository, check.localTip, check.remoteTip);
    return {};
}

// Marks pairs whose old commit stands at another place among the old ones than the new one among the new: those that do not
// belong to the longest run that kept its order (Schensted, Longest increasing and decreasing subsequences, 1961).
void markMoved(std::vector<CommitPair>& pairs, const std::vector<Oid>& before)
{
    std::map<Oid, std::size_t> places;
    for (std::size_t at = 0; at < before.size(); ++at)
        places.emplace(before[at], at);
    std::vector<std::size_t> ends,
        previous(pairs.size(), pairs.size()); // of runs by their length: the pair each ends with
    const auto place = [&](std::size_t pair) { return places[pairs[pair].old.id]; };
    for (std::size_t k = 0; k < pairs.size(); ++k) {
        if (pairs[k].landed)
            continue;
        const auto at = std::ranges::lower_bound(ends, place(k), {}, place);
        if (at != ends.begin())
            previous[k] = *std::prev(at);
        if (at == ends.end())
            ends.push_back(k);
        else
            *at = k;
        pairs[k].moved = true;
    }
    for (std::size_t k = ends.empty() ? pairs.size() : ends.back(); k < pairs.size(); k = previous[k])
        pairs[k].moved = false;
}

// What a reviewer will see of each pair.
Result<void> lookAtPairs(ObjectStore& store, std::vector<CommitPair>& pairs, const VersionIds& ids,
                         const Progress& progress)
{
    markMoved(pairs, ids.before);
    std::size_t done = 0;
    for (CommitPair& pair : pairs) {
        if (progress.stopped())
            return cancelled();
        progress.report("Comparing the versions", done++, pairs.size());
        const auto differ = whatDiffers(store, pair.old.id, pair.now.id, {progress.stop, {}});
        if (!differ)
            return std::unexpected(differ.error());
        pair.sameMessage = !differ->message;
        pair.sameLines = !differ->lines;
        pair.sameChange = !differ->lines && !differ->around;
    }
    return {};
}

Result<void> compare(const Repository& repository, OverwriteCheck& check, const Progress& progress)
{
    const std::vector<Oid> upstream = upstreamTips(repository, check);
    Walks walks(repository);
    auto before = onlyIn(walks, check.remoteTip, check.localTip, upstream, progress);
    if (!before)
        return std::unexpected(before.error());
    auto now = onlyIn(walks, check.localTip, check.remoteTip, upstream, progress);
    if (!now)
        return std::unexpected(now.error());
    if (auto based = findBase(walks, check, *now, upstream, progress); !based)
        return based;
    VersionIds ids{std::move(*before), std::move(*now), {}};
    ids.landedAmong = [&] { return landedAmong(walks, check, ids.now, progress); };
    EquivalenceCache cache;
    const auto pairs = pairVersions(walks.store, ids, cache, progress);
    if (!pairs)
        return std::unexpected(pairs.error());
    for (const VersionPair& pair : *pairs)
        check.order.push_back(pair.now ? pair.now->id : pair.before->id);
    for (const CheckedCommit& commit : check.kept)
        check.order.push_back(commit.id);
    Replacement found = replacementOf(*pairs, addressesOfUser(repository));
    if (auto looked = lookAtPairs(walks.store, found.replaced, ids, progress); !looked)
        return looked;
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

std::string_view checkStateName(CheckState state)
{
    constexpr std::string_view names[] = {"lost", "only-fork", "edited", "reworded", "around",
                                          "same", "landed",    "new",    "kept"};
    return names[std::size_t(state)];
}

CheckState stateOf(const CommitPair& pair)
{
    if (pair.landed)
        return CheckState::Landed;
    if (pair.sameChange)
        return pair.sameMessage ? CheckState::Same : CheckState::Reworded;
    if (!pair.sameLines)
        return CheckState::Edited;
    return pair.sameMessage ? CheckState::Around : CheckState::Reworded;
}

std::vector<CheckRow> rowsOf(const OverwriteCheck& check)
{
    std::vector<CheckRow> rows;
    for (const CheckedCommit& commit : check.foreign)
        rows.push_back({CheckState::Lost, commit, std::nullopt, false});
    for (const CommitPair& pair : check.pairs)
        rows.push_back({stateOf(pair), pair.old, pair.now, pair.byUser, pair.moved});
    for (const CheckedCommit& commit : check.removed)
        rows.push_back({CheckState::OnlyFork, commit, std::nullopt});
    for (const CheckedCommit& commit : check.added)
        rows.push_back({CheckState::New, std::nullopt, commit});
    for (const CheckedCommit& commit : check.kept)
        rows.push_back({CheckState::Kept, commit, commit});
    std::map<Oid, std::size_t> places;
    for (std::size_t at = 0; at < check.order.size(); ++at)
        places.emplace(check.order[at], at);
    std::ranges::stable_sort(rows, {}, [&](const CheckRow& row) {
        const auto found = places.find((row.now ? row.now : row.before)->id);
        return found == places.end() ? places.size() : found->second;
    });
    return rows;
}

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
