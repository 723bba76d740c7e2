// SPDX-License-Identifier: MIT
//
// What is to be replayed where: the commits in order, what becomes of each, and who signs as committer when. Made from
// a snapshot and what the user dragged; editing makes a new plan. Committer and time are fixed here, so that the dry
// run and what apply writes are the same objects.
//
//     Result<Plan> plan = planBranch(repository, *snapshot, "refs/heads/topic/x", onto, "upstream/main");
#pragma once

#include "core/git/commit.h"
#include "core/history/snapshot.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

class CommitTable; // see commit_table.h

enum class Treatment : std::uint8_t {
    Carry,       // replay it
    LeaveOut,    // drop it from the result
    Fold,        // into the one before, with both messages
    FoldQuietly, // into the one before, its message dropped
};

struct PlannedCommit {
    Oid id;
    Treatment treatment = Treatment::Carry;
    std::optional<std::string> newMessage; // reworded; bytes in UTF-8
    std::string subject;                   // of the original, UTF-8
    bool isMerge = false;                  // has more than one parent (only with MergeCommits::Keep)
};

// A branch of the clone whose tip is one of the replayed commits, and goes along with it.
struct StackedBranch {
    std::string ref; // full name
    Oid tip;
};

enum class MergeCommits : std::uint8_t { Flatten, Keep };

struct Plan {
    std::string branch; // full name of the branch to move; empty: nothing is moved (a batch line, a bare tip)
    std::string label;  // what is replayed, for people: "topic/x", "3 commits of topic/x"
    Oid tip;            // where the branch stands now
    Oid onto;
    std::string ontoLabel;
    Oid mergeBase; // of tip and onto; zero for unrelated histories
    Oid below;     // the commits are those above this one (first-parent's base); zero when from a root
    // What all commits together change is the way from here to the tip: the merge base, which lies above `below` where the
    // new base was merged into the branch; for a range, `below`.
    Oid changeFrom;
    std::vector<PlannedCommit> commits; // oldest first
    std::size_t mergesLeftOut = 0;      // merge commits of the branch that are not among them
    std::vector<StackedBranch> stacked; // carried along, the topmost last
    MergeCommits merges = MergeCommits::Flatten;
    bool detectLanded = true;
    Person committer;  // name, email, moment and offset that every rewritten commit gets
    bool sign = false; // the user's config asks for signing (commit.gpgSign)
    // Runs the merge drivers of the user's configuration, programs of the user's own. Only on request: a forecast made in the
    // background starts no program.
    bool runDrivers = false;
};

struct PlanOptions {
    bool carryStacked = true; // where rebase.updateRefs does not say that they stay
    MergeCommits merges = MergeCommits::Flatten;
    bool detectLanded = true;
    std::optional<Person> committer; // default: the configured identity, now
};

// The topic branch's own commits (those that `onto` does not reach) onto `onto`.
// Errors: NotFound; Refused when the branch has no commits of its own or no committer is configured.
Result<Plan> planBranch(const Repository& repository, const Snapshot& snapshot, const std::string& branch,
                        const Oid& onto, const std::string& ontoLabel, const PlanOptions& options = {});
// The commits above `below` up to `tip` of a branch (a range, or one commit when `below` is tip's parent), onto `onto`.
// When `branch` is given and `tip` is inside it, what stands above is replayed on top so that the branch stays whole;
// when `branch` is empty the result is offered as a new tip only.
Result<Plan> planRange(const Repository& repository, const Snapshot& snapshot, const std::string& branch,
                       const Oid& below, const Oid& tip, const Oid& onto, const std::string& ontoLabel,
                       const PlanOptions& options = {});
// Without a snapshot: any tip onto any commit; for batches and forecasts. `committer` is taken as it is. A tip without
// commits of its own gives a plan without commits: its result is `onto`. `table` keeps what was read of the history.
Result<Plan> planTip(ObjectStore& store, CommitTable& table, const Oid& tip, const Oid& onto, const Person& committer,
                     bool detectLanded = true);
// The configured identity, now or when GIT_COMMITTER_DATE says; what every plan without PlanOptions::committer uses.
// Errors: Refused; Usage when that is no date.
Result<Person> committerNow(const Repository& repository);

// Edits. Each returns a new plan. Errors: Usage when the edit makes no sense (folding the first commit…).
Result<Plan> withTreatment(const Plan& plan, std::size_t index, Treatment treatment);
Result<Plan> withMessage(const Plan& plan, std::size_t index, std::string message);
Result<Plan> withMoved(const Plan& plan, std::size_t from, std::size_t to);
// Gathers commits marked `fixup!`, `squash!` and `amend!` behind the commits that they name (common practice).
Plan withFixupsGathered(const Repository& repository, const Plan& plan);

} // namespace espalier
