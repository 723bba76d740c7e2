// SPDX-License-Identifier: MIT
//
// One conflicting file made ready for three panes: what each side has, hunk by hunk, and the text that the decisions
// give. Computed from a dry run's conflict; holds no reference to the repository.
//
//     Result<ConflictText> text = conflictText(repository, run, commitIndex, conflictIndex);
//     std::string file = settledText(*text, settlement);      // undecided hunks: see there
#pragma once

#include "core/conflicts/form_questions.h"
#include "core/conflicts/path_sides.h"
#include "core/replay/dry_run.h"
#include "core/settle/settlements.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct ConflictHunk {
    LineRange ancestor, newBase, commit;               // lines in each side's whole file
    std::string ancestorText, newBaseText, commitText; // bytes, line ends included
    std::string lineEnd = "\n";                        // the file's kind, for sides that lack their last one
    int part = 0, parts = 1;                           // of a hunk that was split: which of how many (TextHunk)
};

struct ConflictText {
    SettlementKey key;
    std::string path;                        // bytes, as people know it; also the name that chooses the highlighting
    std::string ancestor, newBase, commit;   // whole files; empty where a side has none and for a whole path
    Oid ancestorId, newBaseId, commitId;     // blobs; zero where a side has none
    std::vector<ConflictHunk> hunks;         // empty for a conflict of the whole path
    std::vector<std::string> between;        // merged text before hunk 0, between the hunks, after the last: hunks + 1
    bool ownChange = false;                  // see Conflict::ownChange
    FileForm form;                           // what the sides are shown and merged in; see Conflict::form
    std::vector<HunkCut> cuts;               // the hunks that are in parts; see Conflict::cuts
    std::vector<FormQuestion> formQuestions; // what differs in all lines of the file; none for a whole path
    bool wholePath = false;  // NewBase or YourCommit for the whole path; `explanation` says what each means
    std::string explanation; // plain words: "The new base deleted this file; your commit changes it"
    PathSides sides;         // what each side has there; only for a conflict of the whole path
    std::string keepNewBase, keepYourCommit; // what the two decisions do: "Leave it deleted", "Keep the changed file"
    // Other conflicts of this commit (SettlementKey::path) that are the same question.
    std::vector<std::string> together;
    // Who changed it on the new base: the last commit that touched the path between merge base and new base.
    std::optional<Oid> newBaseCommit;
    std::string newBaseSubject, newBaseAuthor;
    std::int64_t newBaseTime = 0;
    Oid yourCommit;
    std::string yourSubject;
};

Result<ConflictText> conflictText(const Repository& repository, const DryRun& run, std::size_t commit,
                                  std::size_t conflict, const Progress& progress = {});

// The path of a conflict as people know it: its own, not one that the merge made up to put a file aside.
std::string shownPath(const PathConflict& path);
// Names the hunk by its three texts (see settlements.h).
Oid textsOfHunk(const ConflictHunk& hunk);
// The text a decision puts in a hunk's place. Sides that lack a final newline get one where the other side follows.
std::string hunkText(const ConflictHunk& hunk, const HunkDecision& decision);
// The text in order, as segmentsOf() of the merge; views into `text`. None for a whole path.
std::vector<Segment> segmentsOf(const ConflictText& text);
// The text with the parts of its hunks in one again, as git meets it.
ConflictText withWholeHunks(ConflictText text);
// The whole file; an undecided hunk contributes its new-base text (the editor marks it as undecided).
std::string settledText(const ConflictText& text, const FileSettlement& settlement);
// A settlement in which nothing is decided.
FileSettlement undecided(const ConflictText& text);
// What of `kept` (null: nothing) holds for the text: see carry.h.
FileSettlement stillHolding(const FileSettlement* kept, const ConflictText& text);

} // namespace espalier
