// SPDX-License-Identifier: MIT
//
// Three-way merge of trees: the change from `base` to `commit` carried onto `newBase`. Walks the three trees together,
// reads only what differs, and gives the tree and the conflicts that git's merge strategy "ort" gives (git 2.47):
// renames on both sides, renamed directories, attributes, kinds of files.
//
//     MergeCaches caches;
//     Result<TreeMerge> merge = mergeTrees(store, parentTree, newBaseTree, commitTree, MergeOptions::of(repository), caches);
//     merge->tree;                       // in store.newObjects(), conflicts in marker form
//     for (const PathConflict& conflict : merge->conflicts) …
//
// Attributes are read from the `.gitattributes` files of the new base's tree, so that a dry run in a bare repository and one
// beside any worktree say the same (attributes.h has which, and the places beside the tree).
#pragma once

#include "core/git/objects.h"
#include "core/merge/text_merge.h"
#include "core/tree/entry.h"

#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

enum class ConflictKind : std::uint8_t {
    Text,              // both changed the same lines
    BothAdded,         // both added a file here, with different contents
    DeletedByNewBase,  // the new base deleted it, the commit changes it
    DeletedByCommit,   // the commit deletes it, the new base changed it
    Binary,            // both changed a file that cannot be merged line by line
    TypeDiffers,       // file, symlink or submodule: each side made another kind of thing of it
    FileAndDirectory,  // a file on one side stands where the other has a directory
    RenamedTwice,      // each side gave it another name
    RenamedTogether,   // two files got the same name
    RenamedAndDeleted, // one side renamed it, the other deleted it
    RenamedAndAdded,   // one side renamed a file to a name at which the other added one
    Submodule,         // both moved a submodule
    DirectoryRenamed,  // added or moved into a directory that the other side renamed: where does it belong?
};
// "text", "both-added", "deleted-by-new-base", …: the `kind` of the JSON output.
std::string_view conflictKindName(ConflictKind kind);

// What one of the three has; mode None: nothing.
struct ConflictStage : PathEntry {
    std::string path; // differs from PathConflict::path where the side has it under another name
    friend bool operator==(const ConflictStage&, const ConflictStage&) = default;
};

// One path that does not merge by itself. There is exactly one listed() for each path that git reports in its "conflicted file
// info" (a file with two new names is therefore three: its old name and both new ones).
struct PathConflict {
    std::string path; // bytes, from the root, '/' between names
    ConflictKind kind = ConflictKind::Text;
    ConflictStage ancestor, newBase, commit;
    // What the merged tree has at `path` in the meantime (for a text the marker form); mode None: nothing.
    PathEntry held;
    std::vector<TextHunk> hunks;           // of a text merge; empty for a conflict of the whole path
    std::shared_ptr<const TextMerge> text; // which they are of; null once it has been used, and not in a DryRun
    std::vector<std::string> otherPaths;   // that belong to the same conflict, e.g. the other new name
    bool wholePath() const { return hunks.empty(); }
    // Whether git lists the path with stages. Where a renamed folder would take a file along and something is in its way, git
    // only says so; it is a question all the same.
    bool listed() const { return ancestor.exists() || newBase.exists() || commit.exists(); }
};

// As git lists it: stage 1 ancestor, 2 new base, 3 commit.
struct StagedPath {
    std::string path;
    int stage = 0;
    FileMode mode = FileMode::None;
    Oid id;
    friend bool operator==(const StagedPath&, const StagedPath&) = default;
};

// A path of which git might make something else: the configuration names a merge driver for it that was not run, or
// merge.renormalize is to undo a conversion that is git's alone.
struct NotAsGit {
    std::string path;
    std::string driver; // its name; empty for merge.renormalize
    friend bool operator==(const NotAsGit&, const NotAsGit&) = default;
};

struct TreeMerge {
    Oid tree;                            // readable from the store: new trees and blobs are in store.newObjects()
    std::vector<PathConflict> conflicts; // in order of path; empty means clean
    std::vector<StagedPath> stages;      // in order of path and stage
    std::vector<std::string> touched;    // paths in the result that the commit's change reaches, in order; "folder/"
                                         // where only the commit changed what is below
    std::vector<NotAsGit> notAsGit;      // merged by lines all the same
    bool clean() const { return conflicts.empty(); }
};

struct MergeOptions {
    enum class DirectoryRenames : std::uint8_t { Off, Conflict, Follow };
    bool renames = true;                                            // merge.renames, diff.renames
    int renameLimit = 7000;                                         // merge.renameLimit; 0: no limit
    DirectoryRenames directoryRenames = DirectoryRenames::Conflict; // merge.directoryRenames
    std::map<std::string, std::string> drivers;                     // merge.<name>.driver, by name
    std::string defaultDriver;                                      // merge.default
    bool runDrivers = false;               // else a path that has one is merged by lines, and said to be not as git's
    bool renormalize = false;              // merge.renormalize
    bool guessesLines = false;             // core.autocrlf: line ends of what has no attribute are looked at
    std::string newBaseLabel = "new base"; // after the markers of held texts
    std::string commitLabel = "your commit";

    // As the repository's configuration says.
    static MergeOptions of(const Repository& repository);
};

// What is worth keeping between merges of one replay or batch: renames from base to new base, similarity of pairs of
// blobs, attributes of trees. Bounded in size; belongs to one store and one thread, but see beside(). Never changes a
// result.
class MergeCaches {
  public:
    MergeCaches();
    // For another thread beside `other`'s: what is read of blobs alone is read once for both.
    static MergeCaches beside(const MergeCaches& other);
    // In a hurry, a merge that would have to hold very many files against each other ends as if it were cancelled, and is put
    // off. What it had found by then is kept.
    void setHurry(bool hurry);
    // Whether that has happened since setHurry().
    bool putOff() const;
    ~MergeCaches();
    MergeCaches(MergeCaches&&) noexcept;
    MergeCaches& operator=(MergeCaches&&) noexcept;
    struct Data;
    Data& data() const { return *m_data; }

  private:
    std::unique_ptr<Data> m_data;
};

// Merges three trees (ids of trees, not of commits; the empty tree's id stands for nothing). New objects go to
// store.newObjects(); nothing else changes. Errors: Broken (a missing or damaged object), Cancelled.
Result<TreeMerge> mergeTrees(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                             const MergeOptions& options, MergeCaches& caches, const Progress& progress = {});

// The three texts of a conflict with hunks, and their merge: the one that the conflict comes with, else made again. The
// stages' blobs are read from `store`. Nothing in it is null; a side that has no text is empty.
struct ConflictTexts {
    std::shared_ptr<const std::string> ancestor, newBase, commit;
    std::shared_ptr<const TextMerge> merge;
};
Result<ConflictTexts> conflictTexts(ObjectStore& store, const PathConflict& conflict);

} // namespace espalier
