// SPDX-License-Identifier: MIT
//
// A conflicting file taken apart for the record: its merge, its hunks, what may be right for each and what makes them like
// others; and what was settled in their places.
//
//     FileHunks file = fileHunks("doc/tides.md", ancestor, newBase, commit);
//     file.hunks[0].candidates; file.hunks[0].facts;
//     noteSettled(file, settled);            // file.hunks[0].facts.settled
#pragma once

#include "core/merge/text_merge.h"
#include "core/propose/record.h"

#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct AskedHunk {
    LineRange ancestor, newBase, commit; // lines of each side
    std::vector<Candidate> candidates;   // none where the texts are too large to be looked at
    HunkFacts facts;
    LineRange place; // lines of the settled file, where facts.settled is not 0
};

struct FileHunks {
    FileFacts facts; // but for `merge` and `who`
    std::vector<AskedHunk> hunks;
    std::vector<std::string> between; // merged text before, between and after the hunks
};

// Merges as git does (see text_merge.h). No hunks where the texts merge or cannot be merged by lines.
FileHunks fileHunks(std::string path, std::string_view ancestor, std::string_view newBase, std::string_view commit);
// The same of a merge that was made of these texts.
FileHunks fileHunks(std::string path, std::string_view ancestor, std::string_view newBase, std::string_view commit,
                    const TextMerge& merge);

// Hunks whose place in the settled file is found without doubt get their `settled` and `place`. A file that still has
// markers in it tells nothing.
void noteSettled(FileHunks& file, std::string_view settled);

Record::Learnt learntOf(const FileHunks& file);

} // namespace espalier
