// SPDX-License-Identifier: MIT
#include "core/replay/dry_run.h"

#include "core/git/overrides.h"
#include "core/git/process.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"
#include "core/replay/caches.h"
#include "core/replay/replayer.h"

#include <algorithm>
#include <set>
#include <unordered_set>

namespace espalier {

namespace {

// What the new tips reach among the new objects, so that apply writes nothing that nobody needs. All of them while
// something is undecided: the settle page reads from what is held.
std::shared_ptr<const NewObjects> objectsOf(const DryRun& run, const NewObjects& fresh)
{
    if (!run.clean)
        return std::make_shared<const NewObjects>(fresh);
    auto kept = std::make_shared<NewObjects>();
    std::vector<Oid> waiting;
    std::unordered_set<Oid> seen;
    const auto visit = [&](const Oid& id) {
        if (fresh.find(id) && seen.insert(id).second)
            waiting.push_back(id);
    };
    visit(*run.newTip);
    for (const auto& [branch, tip] : run.stackedTips)
        visit(tip);
    // The settle page opens decided conflicts again; their texts may be new as well, and
    // what they were settled to is looked at.
    for (const ReplayedCommit& commit : run.commits)
        for (const Conflict& conflict : commit.conflicts) {
            for (const ConflictStage* stage : {&conflict.path.ancestor, &conflict.path.newBase, &conflict.path.commit})
                visit(stage->id);
            visit(conflict.settled);
        }
    while (!waiting.empty()) {
        const Object* object = fresh.find(waiting.back());
        const Oid id = waiting.back();
        waiting.pop_back();
        if (object->type == ObjectType::Commit) {
            if (const auto commit = parseCommit(id, object->view())) {
                visit(commit->tree);
                for (const Oid& parent : commit->parents)
                    visit(parent);
            }
        } else if (object->type == ObjectType::Tree) {
            if (const auto entries = parseTree(object->view()))
                for (const TreeEntry& entry : *entries)
                    visit(entry.id);
        }
        kept->add(object->type, *object->bytes);
    }
    return kept;
}

std::string shellWord(std::string_view word)
{
    constexpr std::string_view plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_./@%+=:,-";
    if (!word.empty() && word.front() != '-' && word.find_first_not_of(plain) == std::string_view::npos)
        return std::string(word);
    return shellQuoted(word);
}

} // namespace

std::string_view outcomeName(Outcome outcome)
{
    switch (outcome) {
    case Outcome::Unchanged:
        return "unchanged";
    case Outcome::Clean:
        return "clean";
    case Outcome::Conflict:
        return "conflict";
    case Outcome::Landed:
        return "landed";
    case Outcome::Empty:
        return "empty";
    }
    return "clean";
}

std::size_t DryRun::undecided() const
{
    std::size_t sum = 0;
    for (const ReplayedCommit& commit : commits)
        for (const Conflict& conflict : commit.conflicts)
            sum += conflict.undecided;
    return sum;
}

std::vector<std::string> DryRun::notAsGitLines() const
{
    std::vector<std::string> lines;
    for (const ReplayedCommit& commit : commits)
        for (const NotAsGit& path : commit.notAsGit) {
            const std::string why =
                path.driver.empty() ? "git would convert it for merge.renormalize; it was merged as it is stored"
                                    : "git would run your merge driver '" + path.driver + "'; it was merged by lines";
            if (std::string line = displayText(path.path + ": " + why); !std::ranges::contains(lines, line))
                lines.push_back(std::move(line));
        }
    return lines;
}

std::size_t DryRun::firstConflict() const
{
    const auto at = std::ranges::find(commits, Outcome::Conflict, &ReplayedCommit::outcome);
    return std::size_t(at - commits.begin());
}

Result<DryRun> dryRun(ObjectStore& store, ReplayCaches& caches, const Plan& plan, const Settlements& settlements,
                      const Progress& progress)
{
    return Replayer(store, caches, plan, settlements, progress, false).run();
}

Result<DryRun> dryRun(const Repository& repository, const Plan& plan, const Settlements& settlements,
                      const Progress& progress, std::shared_ptr<EquivalenceCache> equivalence)
{
    ObjectStore store(repository);
    ReplayCaches caches(repository);
    // Where other parents hold now, what was read before may be of those.
    if (equivalence && equivalence->holdsUnder(store.overrides().fingerprint))
        caches.equivalence = std::move(equivalence);
    caches.merge.runDrivers = plan.runDrivers;
    auto run = Replayer(store, caches, plan, settlements, progress, true).run();
    if (run)
        run->objects = objectsOf(*run, store.newObjects());
    return run;
}

std::string commandLineEquivalent(const Plan& plan)
{
    std::string line = "git rebase";
    const bool edited = std::ranges::any_of(plan.commits, [](const PlannedCommit& commit) {
        return commit.treatment != Treatment::Carry || commit.newMessage;
    });
    if (edited)
        line += " --interactive";
    if (plan.merges == MergeCommits::Keep)
        line += " --rebase-merges";
    if (!plan.stacked.empty())
        line += " --update-refs";
    line += " --onto " + shellWord(plan.ontoLabel.empty() ? plan.onto.brief() : plan.ontoLabel);
    line += plan.below.isZero() ? std::string(" --root") : ' ' + plan.below.brief();
    line += ' ' + (plan.branch.empty() ? plan.tip.brief() : shellWord(std::string(branchOrRef(plan.branch))));
    return displayText(line);
}

namespace {

// The commit that at least two of the topic's landed as.
std::optional<Oid> squashOf(const DryRun& run)
{
    std::set<Oid> seen;
    for (const ReplayedCommit& commit : run.commits)
        if (commit.landedAs && !seen.insert(*commit.landedAs).second)
            return commit.landedAs;
    return std::nullopt;
}

} // namespace

Forecast forecastOf(const DryRun& run)
{
    Forecast forecast;
    forecast.commits = run.commits.size();
    std::set<std::string_view> files;
    bool unchanged = true;
    for (const ReplayedCommit& commit : run.commits) {
        forecast.landed += commit.outcome == Outcome::Landed;
        forecast.empty += commit.outcome == Outcome::Empty;
        unchanged &= commit.outcome == Outcome::Unchanged;
        for (const Conflict& conflict : commit.conflicts) {
            if (conflict.undecided == 0)
                continue;
            forecast.hunks += conflict.undecided;
            files.insert(conflict.path.path);
        }
    }
    forecast.files = files.size();
    forecast.landedAs = squashOf(run);
    // A merge commit may hold changes of its own, which nobody has looked for on the main line.
    const bool allLookedAt = run.plan.mergesLeftOut == 0 || forecast.landedAs;
    if (run.commits.empty() && allLookedAt)
        forecast.kind = run.plan.tip == run.plan.onto ? Forecast::Nothing : Forecast::FastForward;
    else if (!run.clean)
        forecast.kind = Forecast::Conflicts;
    else if (unchanged && !run.commits.empty())
        forecast.kind = Forecast::Nothing;
    else if (run.newTip == run.plan.onto && allLookedAt)
        forecast.kind = Forecast::Landed;
    else
        forecast.kind = Forecast::Clean;
    return forecast;
}

} // namespace espalier
