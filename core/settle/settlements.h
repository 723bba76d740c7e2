// SPDX-License-Identifier: MIT
//
// The user's decisions on conflicts, as values. A settlement belongs to a commit and a path; it is the file in order,
// stretch, hunk, stretch, …, where every hunk has its own decision and every stretch its own edit: nothing that is typed
// in one place can stand for a decision in another.
//
//     FileSettlement made = undecidedText(blobs, segments);
//     made.decide(0, {Choice::NewBase, {}});
//     Settlements next = settlements.with(key, made);
#pragma once

#include "core/git/oid.h"
#include "core/merge/text_merge.h"
#include "core/settle/file_form.h"

#include <compare>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace espalier {

enum class Choice : std::uint8_t {
    Undecided,
    NewBase,         // Keep new base
    YourCommit,      // Keep your commit
    NewBaseFirst,    // New base, then yours
    YourCommitFirst, // Yours, then new base
    Typed,           // the user's own text
};
// The words of `--settle`: "new-base", "your-commit", "new-base-first", "your-commit-first"; Typed is "typed".
std::string_view choiceName(Choice choice);
std::optional<Choice> choiceFromName(std::string_view name);

struct HunkDecision {
    Choice choice = Choice::Undecided;
    std::string text; // for Typed: bytes that replace the hunk, line ends included
    friend bool operator==(const HunkDecision&, const HunkDecision&) = default;
};

// What the user wrote in place of merged text outside the hunks: `text` where the merge has `was`, bytes with line ends.
struct StretchEdit {
    std::string was, text;
    friend bool operator==(const StretchEdit&, const StretchEdit&) = default;
};
// One that fits no longer: the merge has something else there by now. It stands nowhere in the file; it waits until the
// user has looked again.
struct WaitingEdit {
    StretchEdit edit;
    bool wholeFile = false; // its text is the whole file and `was` is empty: an older form on disk kept edits so
    friend bool operator==(const WaitingEdit&, const WaitingEdit&) = default;
};

struct SettledStretch {
    std::optional<StretchEdit> edit; // none: as the merge has it
    std::optional<WaitingEdit> waiting = {};
    friend bool operator==(const SettledStretch&, const SettledStretch&) = default;
};
struct SettledHunk {
    Oid texts; // its three texts, by textsOfHunk; zero for a whole path and where it was not noted
    HunkDecision decision;
    friend bool operator==(const SettledHunk&, const SettledHunk&) = default;
};
using SettledPiece = std::variant<SettledStretch, SettledHunk>;

// Whether the piece waits for the user: an undecided hunk, an edit that fits no longer. The one answer to this question:
// lists, head lines, dry run and apply all ask here.
bool isOpen(const SettledPiece& piece);

struct ThreeBlobs {
    Oid ancestor, newBase, commit; // zero where the side has no file
    friend bool operator==(const ThreeBlobs&, const ThreeBlobs&) = default;
};

// Lines of the three texts of a hunk, counted from its first.
struct HunkLines {
    int ancestor = 0, newBase = 0, commit = 0;
    friend auto operator<=>(const HunkLines&, const HunkLines&) = default;
};
// Where the user split a hunk: see split.h. A hunk is known by its texts, and by how many such stand before it.
struct HunkCut {
    Oid hunk;        // its three texts, by textsOfHunk, all of it
    int which = 0;   // of those with the same texts in the file
    HunkLines lines; // that stand before the cut
    friend auto operator<=>(const HunkCut&, const HunkCut&) = default;
};

// For a conflict of a whole path (deleted against changed, binary, symlink, submodule…): one hunk piece, decided NewBase
// or YourCommit. For a text: pieces in file order, a stretch before, between and after the hunks, as segmentsOf() has it.
struct FileSettlement {
    ThreeBlobs blobs; // what the decisions were made for
    std::vector<SettledPiece> pieces = {};
    FileForm form = {};             // the sides are met in this form: the pieces are those of their merge so
    std::vector<HunkCut> cuts = {}; // and so with these hunks in parts; in order
    friend bool operator==(const FileSettlement&, const FileSettlement&) = default;

    std::size_t hunkCount() const;
    // Index into `pieces`; only for hunks below hunkCount().
    std::size_t pieceOfHunk(std::size_t hunk) const { return pieces.size() == 1 ? 0 : 2 * hunk + 1; }
    const HunkDecision& decision(std::size_t hunk) const;
    void decide(std::size_t hunk, HunkDecision decision);

    std::size_t questions() const; // hunks, edits that fit no longer, and the form where it was asked
    std::size_t undecided() const; // of these, what isOpen()
    bool decided() const;          // there is something to decide, and all of it is
    bool touched() const;          // something in it is decided or edited
};

// Names a hunk by its three texts.
Oid textsOfHunk(std::string_view ancestor, std::string_view newBase, std::string_view commit);

// Settlements in which nothing is decided yet.
FileSettlement undecidedPath(const ThreeBlobs& blobs);
FileSettlement undecidedText(const ThreeBlobs& blobs, std::span<const Segment> segments);

struct SettlementKey {
    Oid commit;       // the original commit
    std::string path; // the path of the conflict (PathConflict::path)
    friend auto operator<=>(const SettlementKey&, const SettlementKey&) = default;
};

class Settlements {
  public:
    const FileSettlement* find(const SettlementKey& key) const; // null when there is none
    [[nodiscard]] Settlements with(const SettlementKey& key, FileSettlement settlement) const;
    [[nodiscard]] Settlements without(const SettlementKey& key) const;
    // Answers every hunk of every conflict that has no settlement of its own (the command's `--settle HOW`).
    [[nodiscard]] Settlements withDefault(Choice choice) const;
    std::optional<Choice> defaultChoice() const { return m_default; }
    bool empty() const { return m_files.empty() && !m_default; }
    const std::map<SettlementKey, FileSettlement>& files() const { return m_files; }
    friend bool operator==(const Settlements&, const Settlements&) = default;

  private:
    std::map<SettlementKey, FileSettlement> m_files;
    std::optional<Choice> m_default;
};

} // namespace espalier
