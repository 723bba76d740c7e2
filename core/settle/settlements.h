// SPDX-License-Identifier: MIT
//
// The user's decisions on conflicts, as values. A settlement belongs to a commit and a path and names the three inputs
// that it was made for; when a later dry run meets other inputs, only its decisions on hunks whose three texts are still
// the same apply, and the other hunks are undecided again.
//
//     Settlements next = settlements.with(key, decision);
#pragma once

#include "core/git/oid.h"

#include <compare>
#include <map>
#include <optional>
#include <string>
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

// For a conflict of a whole path (deleted against changed, binary, symlink, submodule…): NewBase or YourCommit, one
// decision. For a text: one decision a hunk, in order.
struct FileSettlement {
    Oid ancestor, newBase, commit; // blob ids the decisions were made for; zero where the side has no file
    std::vector<HunkDecision> hunks;
    // Text outside the hunks may be edited too: then this is the whole file and `hunks` only remembers the choices.
    std::optional<std::string> wholeText;
    // What each hunk's three texts were (textsOfHunk), one for one; empty for a whole path or where it was not noted.
    std::vector<Oid> hunkTexts = {};
    friend bool operator==(const FileSettlement&, const FileSettlement&) = default;
    bool decided() const;
    // Something in it is decided.
    bool touched() const;
    bool madeFor(const FileSettlement& inputs) const; // the same three inputs and number of hunks
};

// Names a hunk by its three texts.
Oid textsOfHunk(std::string_view ancestor, std::string_view newBase, std::string_view commit);

// What of `kept` (null: nothing) holds for a conflict, given as `fresh`, its undecided settlement with hunkTexts: all of
// it when it was made for the same inputs; else the decisions on hunks that are the same still.
FileSettlement stillHolding(const FileSettlement* kept, FileSettlement fresh);

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
