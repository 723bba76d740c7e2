// SPDX-License-Identifier: MIT
//
// What a commit (or a pair of commits) changed: files, counts and lines, for the commit panel. Reading only.
#pragma once

#include "core/git/commit.h"
#include "core/git/objects.h"
#include "core/tree/entry.h"

#include <string>
#include <string_view>
#include <vector>

namespace espalier {

enum class ChangeKind : std::uint8_t { Added, Deleted, Modified, Renamed, Copied, TypeChanged };

struct DiffLine {
    enum Kind : std::uint8_t { Context, Added, Deleted } kind = Context;
    int oldNumber = 0; // 1-based; 0 where the side has no such line
    int newNumber = 0;
    std::string text; // bytes, without the line end
    bool noNewline = false;
};
struct DiffHunk {
    std::string header; // the function name or heading git shows; may be empty
    int oldStart = 0, oldCount = 0, newStart = 0, newCount = 0;
    std::vector<DiffLine> lines;
};
struct FileChange {
    ChangeKind kind = ChangeKind::Modified;
    std::string oldPath, newPath; // bytes; equal unless renamed
    PathEntry before, after;
    bool binary = false;
    bool tooBig = false; // more than `maxLines`; hunks left out
    std::uint32_t added = 0, deleted = 0;
    std::vector<DiffHunk> hunks;
};
struct Changes {
    std::vector<FileChange> files; // in path order
    std::uint32_t added = 0, deleted = 0;
    bool truncated = false; // more than `maxFiles`
};

struct ChangesOptions {
    bool ignoreWhitespace = false;
    bool withLines = true; // false: names and counts only
    int context = 3;
    std::size_t maxFiles = 2000;
    std::size_t maxLines = 20000; // a file
};

// A commit against its first parent (a root: against nothing).
Result<Changes> changesOf(const Repository& repository, const Oid& commit, const ChangesOptions& options = {},
                          const Progress& progress = {});
Result<Changes> changesBetween(const Repository& repository, const Oid& oldCommit, const Oid& newCommit,
                               const ChangesOptions& options = {}, const Progress& progress = {});
// Two trees, either of which may be new and in memory only; the zero id is an empty tree. No renames.
Result<Changes> changesOfTrees(ObjectStore& store, const Oid& before, const Oid& after,
                               const ChangesOptions& options = {}, const Progress& progress = {});
// All files of a change one after another as one, each hunk headed with its file's path; what has no lines to show (binary,
// too big, another mode) says so in a line of its own. Cut by cutLines().
FileChange joinedChanges(const Changes& changes, std::size_t maxLines);
// Keeps the first `most` lines; where there were more, the header of a last hunk says so.
void cutLines(FileChange& change, std::size_t most);
// Two texts that are no files, compared line by line; only counts and hunks are set.
Result<FileChange> changesOfTexts(std::string_view before, std::string_view now, const ChangesOptions& options = {});
// As a patch in the format that mail and `git apply` take.
Result<std::string> patchText(const Repository& repository, const Oid& commit);
// What leads from one commit's files to the other's, for `git apply`; empty when they are the same.
Result<std::string> patchBetween(const Repository& repository, const Oid& oldCommit, const Oid& newCommit);

// What the graph's rows show, read only when shown: subject and author for one row.
struct CommitSummary {
    Oid id;
    std::string subject; // UTF-8 made safe by displayText
    std::string author;
    std::string authorEmail;
    std::int64_t authorTime = 0;
    int authorOffset = 0;
};
Result<CommitSummary> summaryOf(ObjectStore& store, const Oid& commit);

} // namespace espalier
