// SPDX-License-Identifier: MIT
//
// The user's decisions on conflicts, as values. A settlement belongs to a commit and a path and names the three inputs
// that it was made for; when a later dry run meets other inputs, it does not apply and the hunk is undecided again.
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
    friend bool operator==(const FileSettlement&, const FileSettlement&) = default;
    bool decided() const;
};

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
