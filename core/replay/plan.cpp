// SPDX-License-Identifier: MIT
#include "core/replay/plan.h"

#include "core/git/signing.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"
#include "core/replay/commit_table.h"

#include <algorithm>
#include <ctime>
#include <unordered_map>
#include <unordered_set>

namespace espalier {

namespace {

// Fills the commits of a plan, oldest first, out of the set `own`, and what lies below them.
Result<void> addCommits(ObjectStore& store, CommitTable& table, const std::vector<Oid>& own, Plan& plan)
{
    auto ordered = table.topologicalOrder(store, plan.tip, own);
    if (!ordered)
        return std::unexpected(ordered.error());
    std::ranges::reverse(*ordered);
    plan.commits.reserve(ordered->size());
    for (const Oid& id : *ordered) {
        const auto parents = table.parents(store, id);
        if (!parents)
            return std::unexpected(parents.error());
        const bool isMerge = parents->size() > 1;
        if (isMerge && plan.merges == MergeCommits::Flatten) {
            ++plan.mergesLeftOut;
            continue;
        }
        const auto commit = readCommit(store, id);
        if (!commit)
            return std::unexpected(commit.error());
        plan.commits.push_back({id, Treatment::Carry, std::nullopt, commit->subject(), isMerge});
    }
    const std::unordered_set<Oid> inside(own.begin(), own.end());
    plan.below = plan.tip;
    while (inside.contains(plan.below)) {
        const auto parents = table.parents(store, plan.below);
        if (!parents)
            return std::unexpected(parents.error());
        plan.below = parents->empty() ? Oid{} : parents->front();
    }
    return {};
}

// Where the configuration says that other branches stay, they do. The clone's main line is never carried off, even where it
// holds commits of a topic.
Result<void> addStacked(const Repository& repository, const Snapshot& snapshot, Plan& plan)
{
    const auto carries = repository.checkedBool("rebase.updateRefs", true);
    if (!carries)
        return std::unexpected(carries.error());
    if (!*carries)
        return {};
    const Ref* mainLine = snapshot.mainLineRef();
    std::unordered_map<Oid, std::vector<const Ref*>> branches;
    for (const Ref& ref : snapshot.refs) {
        const bool isMain = mainLine && (ref.name == mainLine->name || ref.branch == mainLine->branch);
        if (ref.kind == RefKind::Branch && ref.name != plan.branch && !isMain)
            branches[ref.tip].push_back(&ref);
    }
    for (const PlannedCommit& commit : plan.commits)
        if (const auto at = branches.find(commit.id); at != branches.end())
            for (const Ref* ref : at->second)
                plan.stacked.push_back({ref->name, ref->tip});
    return {};
}

Result<void> addCommitter(const Repository& repository, const PlanOptions& options, Plan& plan)
{
    const auto sign = wantsSigning(repository);
    if (!sign)
        return std::unexpected(sign.error());
    plan.sign = *sign;
    plan.merges = options.merges;
    plan.detectLanded = options.detectLanded;
    if (options.committer) {
        plan.committer = *options.committer;
        return {};
    }
    auto committer = committerNow(repository);
    if (!committer)
        return std::unexpected(committer.error());
    plan.committer = std::move(*committer);
    return {};
}

Result<void> checkExists(ObjectStore& store, const Oid& commit)
{
    if (!store.contains(commit))
        return fail(ErrorKind::NotFound, "There is no such commit in the repository", commit.hex(), "Fetch it first");
    return {};
}

// A branch that is not among those of the snapshot: it may be there and damaged.
std::unexpected<Error> noSuchBranch(const Repository& repository, const std::string& branch)
{
    if (const auto tip = repository.resolve(branch); !tip && tip.error().kind == ErrorKind::Broken)
        return std::unexpected(tip.error());
    return fail(ErrorKind::NotFound, "There is no such branch", std::string(branchOrRef(branch)),
                "Reload the repository");
}

} // namespace

Result<Person> committerNow(const Repository& repository)
{
    const auto identity = committerIdentity(repository);
    if (!identity)
        return std::unexpected(identity.error());
    Person person{identity->name, identity->email, std::int64_t(std::time(nullptr)), 0};
    const auto given = givenCommitterDate(repository);
    if (!given)
        return std::unexpected(given.error());
    if (*given) {
        person.when = (*given)->when;
        person.offsetMinutes = (*given)->offsetMinutes;
        return person;
    }
    const std::time_t now = std::time_t(person.when);
    std::tm local{};
    if (localtime_r(&now, &local))
        person.offsetMinutes = int(local.tm_gmtoff / 60);
    return person;
}

Result<Plan> planTip(ObjectStore& store, CommitTable& table, const Oid& tip, const Oid& onto, const Person& committer,
                     bool detectLanded)
{
    const auto own = table.ownCommits(store, tip, onto);
    if (!own)
        return std::unexpected(own.error());
    Plan plan;
    plan.label = tip.brief();
    plan.tip = tip;
    plan.onto = onto;
    plan.ontoLabel = onto.brief();
    plan.mergeBase = own->mergeBases.empty() ? Oid{} : own->mergeBases.front();
    plan.changeFrom = plan.mergeBase;
    plan.detectLanded = detectLanded;
    plan.committer = committer;
    if (auto added = addCommits(store, table, own->commits, plan); !added)
        return std::unexpected(added.error());
    return plan;
}

Result<Plan> planBranch(const Repository& repository, const Snapshot& snapshot, const std::string& branch,
                        const Oid& onto, const std::string& ontoLabel, const PlanOptions& options)
{
    const Ref* ref = snapshot.findRef(branch);
    if (!ref)
        return noSuchBranch(repository, branch);
    ObjectStore store(repository);
    CommitTable table(repository);
    Plan plan;
    plan.branch = branch;
    plan.label = std::string(branchOrRef(branch));
    plan.tip = ref->tip;
    plan.onto = onto;
    plan.ontoLabel = ontoLabel;
    if (auto exists = checkExists(store, onto); !exists)
        return std::unexpected(exists.error());
    if (auto added = addCommitter(repository, options, plan); !added)
        return std::unexpected(added.error());
    const auto own = table.ownCommits(store, plan.tip, onto);
    if (!own)
        return std::unexpected(own.error());
    plan.mergeBase = own->mergeBases.empty() ? Oid{} : own->mergeBases.front();
    plan.changeFrom = plan.mergeBase;
    if (auto added = addCommits(store, table, own->commits, plan); !added)
        return std::unexpected(added.error());
    if (plan.commits.empty())
        return fail(ErrorKind::Refused, "The branch has no commits of its own above the new base", plan.label,
                    "There is nothing to replay; fast-forward or delete it instead");
    if (options.carryStacked)
        if (auto added = addStacked(repository, snapshot, plan); !added)
            return std::unexpected(added.error());
    return plan;
}

Result<Plan> planRange(const Repository& repository, const Snapshot& snapshot, const std::string& branch,
                       const Oid& below, const Oid& tip, const Oid& onto, const std::string& ontoLabel,
                       const PlanOptions& options)
{
    ObjectStore store(repository);
    CommitTable table(repository);
    Plan plan;
    plan.branch = branch;
    plan.tip = tip;
    plan.onto = onto;
    plan.ontoLabel = ontoLabel;
    if (!branch.empty()) {
        const Ref* ref = snapshot.findRef(branch);
        if (!ref)
            return noSuchBranch(repository, branch);
        const auto above = table.divergence(store, tip, ref->tip);
        if (!above)
            return std::unexpected(above.error());
        if (above->mergeBases.empty() || above->mergeBases.front() != tip)
            return fail(ErrorKind::Usage, "The commit is not part of the branch", tip.hex(),
                        "Choose one of its commits");
        plan.tip = ref->tip;
    }
    for (const Oid& id : {plan.tip, onto})
        if (auto exists = checkExists(store, id); !exists)
            return std::unexpected(exists.error());
    if (auto added = addCommitter(repository, options, plan); !added)
        return std::unexpected(added.error());
    const auto range = table.divergence(store, plan.tip, below);
    const auto ways = table.divergence(store, plan.tip, onto);
    if (!range || !ways)
        return std::unexpected(range ? ways.error() : range.error());
    if (!below.isZero() && !range->onlyRight.empty())
        return fail(ErrorKind::Usage, "The range is not one line of history: its end does not stand on its beginning",
                    below.brief() + ".." + plan.tip.brief(), "Choose commits of one branch");
    if (std::ranges::contains(range->onlyLeft, onto))
        return fail(ErrorKind::Refused, "A commit cannot be replayed onto itself or onto what stands on it",
                    onto.brief(), "Choose another new base, or change the order in the dry run");
    plan.mergeBase = ways->mergeBases.empty() ? Oid{} : ways->mergeBases.front();
    if (auto added = addCommits(store, table, range->onlyLeft, plan); !added)
        return std::unexpected(added.error());
    if (plan.commits.empty())
        return fail(ErrorKind::Refused, "There are no commits in the range", below.brief() + ".." + plan.tip.brief(),
                    "Choose at least one commit that is not a merge");
    plan.below = plan.changeFrom = below;
    plan.label = counted(plan.commits.size(), "commit", "commits");
    if (!branch.empty())
        plan.label += " of " + std::string(branchOrRef(branch));
    if (options.carryStacked && !branch.empty())
        if (auto added = addStacked(repository, snapshot, plan); !added)
            return std::unexpected(added.error());
    return plan;
}

} // namespace espalier
