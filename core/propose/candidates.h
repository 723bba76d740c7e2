// SPDX-License-Identifier: MIT
//
// The texts that may be right for a hunk. Each kind is a function of its own, which gives nothing where its kind does not
// apply; which of them is offered, if any, is for the record to say (record.h).
//
//     for (const Candidate& candidate : candidatesFor({ancestor, newBase, commit}))
//         candidate.kind; candidate.text;
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace espalier {

// The three sides of a hunk, bytes with line ends.
struct HunkTexts {
    std::string_view ancestor, newBase, commit;
};

// Behind each: how many of a hundred were right where they were shown, with a session's record and with the history alone, and of how
// many (README.md has the projects).
enum class CandidateKind : std::uint8_t {
    NewBase,      // the new base's side whole: 98.8 of 782, 96.2 of 238
    Commit,       // the commit's side whole: 99.6 of 1670, 100 of 6
    NewBaseFirst, // both, the new base's first, lines that both have once: never shown
    CommitFirst,  // both, the commit's first: never shown
    Words, // both sides' changes of words within the same lines: 92.7 of 41, 96.8 of 31, before its bound was made stricter
    Lines,  // both sides' lines put in and taken out, as a set: once, right
    Sorted, // the same in order, where all sides are in order: once, right
    Higher, // the higher one of two numbers, wherever the sides differ only in numbers: 97.3 of 150, 97.6 of 41
    Before, // what was settled for the same texts before: 100 of 204, 100 of 14
};
inline constexpr int candidateKinds = 9;
std::string_view candidateKindName(CandidateKind kind); // "new-base", "your-commit", …

struct Candidate {
    CandidateKind kind = CandidateKind::NewBase;
    std::string text;
};

std::optional<std::string> bothInOrder(std::string_view first, std::string_view second);
std::optional<std::string> wordMerge(const HunkTexts& hunk);
std::optional<std::string> lineMerge(const HunkTexts& hunk);
std::optional<std::string> sortedMerge(const HunkTexts& hunk);
std::optional<std::string> higherNumbers(const HunkTexts& hunk);

// All that apply, without Before, in the order of the kinds. Two of them may have the same text.
std::vector<Candidate> candidatesFor(const HunkTexts& hunk);

// What kind of clash it is, in a few bits that say nothing about the texts themselves: hunks of one shape are alike.
struct HunkShape {
    std::uint64_t edits = 0; // how each side stands to the ancestor and to the other
    std::uint64_t fine = 0;  // the same and their sizes
};
HunkShape shapeOf(const HunkTexts& hunk);

// How much of each side's change a text has, in hundredths: words that the side put in and words that it took out. -1 where
// the side put nothing in or took nothing out.
struct Honoured {
    int putInByNewBase = -1, putInByCommit = -1, takenOutByNewBase = -1, takenOutByCommit = -1;
};
// For many texts of one hunk.
class HonouredChanges {
  public:
    explicit HonouredChanges(const HunkTexts& hunk);
    Honoured of(std::string_view text) const;

  private:
    using Bag = std::unordered_map<std::string_view, int>;
    static Bag bagOf(std::string_view text);
    Bag m_ancestor, m_newBase, m_commit;
};

} // namespace espalier
