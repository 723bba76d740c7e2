// SPDX-License-Identifier: MIT
//
// A replay computed in memory: what would come out, commit for commit, without touching the repository.
//
//     Result<DryRun> run = dryRun(repository, plan, settlements, progress);
//     if (run->clean) … run->newTip … else … run->commits[i].conflicts …
#pragma once

#include "core/merge/tree_merge.h"
#include "core/replay/plan.h"
#include "core/settle/settlements.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

class EquivalenceCache;
struct ReplayCaches; // see caches.h

enum class Outcome : std::uint8_t { Unchanged, Clean, Conflict, Landed, Empty };
std::string_view outcomeName(Outcome outcome); // "unchanged", "clean", …: the words of DEVELOPERS.md

// A path of a commit that does not merge by itself, with all that the settle page needs.
struct Conflict {
    PathConflict path;         // see tree_merge.h
    std::size_t hunks = 0;     // questions, answered or not: hunks, and edits that fit no longer; at least 1
    std::size_t undecided = 0; // what the settlements do not answer yet
    std::size_t again = 0;     // of these: the file was settled for other texts, so they must be looked at again
    // Of a kept merge commit: not its sides meeting anew, but what the commit itself changes meeting their new merge. A
    // path can be both, and each is a question of its own.
    bool ownChange = false;
    std::vector<HunkCut> cuts = {}; // and which of their hunks are in parts; `hunks` counts these
    FileForm form = {}; // what the settlements say that its sides are met in; `hunks` are those of their merge so
    Oid settled = {};   // the blob of a text with the decisions; what is undecided is held in it. Zero for a whole path
    int markerSize = 7; // of the path's conflict markers, by its attributes
    // What its settlement is kept under, in the commit `of`; a question about other paths of the same merge goes there by
    // `at`.
    SettlementKey key(const Oid& of) const { return key(of, path.path); }
    SettlementKey key(const Oid& of, const std::string& at) const
    {
        return {of, ownChange ? at + std::string("\0own", 4) : at}; // no path of git's holds a zero byte
    }
};

struct ReplayedCommit {
    Oid id;
    std::string subject;
    Outcome outcome = Outcome::Clean;
    Treatment treatment = Treatment::Carry;
    // Nothing from the first unsettled conflict on, and for landed, empty and left out ones. A folded commit has the id
    // of the commit that it went into.
    std::optional<Oid> newId;
    std::optional<Oid> newTree;
    std::vector<std::size_t> dependsOn; // indices of earlier commits whose unsettled regions this one touches
    std::vector<Conflict> conflicts;    // also filled when all are settled (undecided == 0); outcome is then Clean
    std::optional<Oid> landedAs;
    Oid newBaseTree; // the tree the commit was merged onto: the left side. What is unsettled below is held
                     // in it as if it had been settled with Keep your commit
    Oid newParent;   // the commit below in the result; zero when that is not known yet
    std::vector<std::string> files; // paths that the commit changes against its parent
    bool losesSignature = false;    // was signed, and the user's config does not sign
    std::vector<NotAsGit> notAsGit; // paths of which git would make something else, see Plan::runDrivers
};

struct DryRun {
    Plan plan;
    std::vector<ReplayedCommit> commits;                  // as plan.commits
    bool clean = false;                                   // nothing undecided; it can be applied
    std::optional<Oid> newTip, newTree;                   // null while something is undecided
    std::vector<std::pair<std::string, Oid>> stackedTips; // stacked branch, its new tip; only when clean
    std::shared_ptr<const NewObjects> objects;            // everything new, for apply
    std::size_t undecided() const;
    // The first commit with something undecided; commits.size() when there is none.
    std::size_t firstConflict() const;
    // Where this is not what git would do: "data.json: git would run your merge driver 'ours'; it was merged by lines". Empty
    // where it is, one line for each path.
    std::vector<std::string> notAsGitLines() const;
};

// Computes it. Signing programs are not run here: with plan.sign the ids announced are those of the commits before they
// are signed, and DryRun says so through plan.sign. `equivalence`: what was read of the new base's commits before, and is
// read for the next time; may be null, and is not used where other parents hold than those it was made for. Errors: Broken (a missing object), Cancelled.
Result<DryRun> dryRun(const Repository& repository, const Plan& plan, const Settlements& settlements = {},
                      const Progress& progress = {}, std::shared_ptr<EquivalenceCache> equivalence = {});
// The same inside a batch: keeps its caches in `store` and `caches` between calls; new objects go to store.newObjects(), and
// DryRun::objects and ReplayedCommit::files stay empty.
Result<DryRun> dryRun(ObjectStore& store, ReplayCaches& caches, const Plan& plan, const Settlements& settlements = {},
                      const Progress& progress = {});

// The whole replay on one line for people who want to learn it: "git rebase --onto upstream/main 1a2b3c4 topic/x".
std::string commandLineEquivalent(const Plan& plan);

// What a dry run onto the main line comes to, for a branch as a whole. Whether a branch has landed is asked here and nowhere
// else, so that the drift board, the clean-up, the commands and the dry run never tell different things.
struct Forecast {
    // Landed: nothing is left of its commits, they are there under other ids. FastForward: they are there as they are.
    enum Kind : std::uint8_t { Clean, Conflicts, FastForward, Landed, Nothing, Unknown } kind = Unknown;
    std::size_t hunks = 0, files = 0, commits = 0;
    std::size_t landed = 0, empty = 0; // of the commits, by their outcome
    std::optional<Oid> landedAs;       // one commit of the main line that is several of these combined (a squash)
    std::string reason;                // for Unknown: why
    // The main line has everything of it: the branch can go.
    bool wholly() const { return kind == Landed || kind == FastForward; }
};
Forecast forecastOf(const DryRun& run);

} // namespace espalier
