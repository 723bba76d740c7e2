// SPDX-License-Identifier: MIT
//
// Who stands behind the two sides of a hunk: the commits of the new base that changed its lines, and the earlier commits of
// the topic that made the lines which this commit goes on from.
//
//     Result<std::vector<HunkCommits>> who = hunkCommits(repository, *run, commit, text);
//     who->at(0).newBase.front().subject;
#pragma once

#include "core/conflicts/conflict_text.h"

#include <cstdint>
#include <string>
#include <vector>

namespace espalier {

struct LineCommit {
    Oid id;
    std::string subject, author; // bytes in UTF-8, as untrusted as anything out of a repository
    std::int64_t when = 0;       // of the author, seconds since 1970, UTC
};

struct HunkCommits {
    std::vector<LineCommit> newBase; // between merge base and new base, newest first; empty: none of them
    bool earlierOfTopic = false;     // commits of this replay that already stand on the new base changed them too
    std::vector<LineCommit> topic;   // commits of the topic below this one, newest first
    LineCommit own;                  // the replayed commit itself
};

// One for each hunk of `text`, which conflictText() has made of a conflict of this commit; none for a whole path.
// Errors: Broken (a missing or damaged object), Cancelled.
Result<std::vector<HunkCommits>> hunkCommits(const Repository& repository, const DryRun& run, std::size_t commit,
                                             const ConflictText& text, const Progress& progress = {});

} // namespace espalier
