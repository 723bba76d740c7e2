// SPDX-License-Identifier: MIT
//
// What was settled how, and what that says about the next hunk. A record is made of hunks with their settlement; it counts, for
// each kind of candidate, how often it was right among hunks that are alike in some way (`Alike`), from the whole project down to
// the very same texts. Evidence of one merge weighs less the more of it there is: a merge of a thousand hunks was one decision.
//
//     Record record;
//     record.learn(file, hunks);                        // what a merge has settled
//     Guess guess = guessFor({&record}, file, hunks[0]);
//     guess.candidate; guess.confidence;                // which text, and how likely it is the right one
//
// The confidence is a logistic sum over the rates at all levels, each shrunk towards the one that it is a part of; its weights
// (weights.cpp) were fitted to hunks of several projects and then measured on others (README.md). It never comes from the
// weights alone: without evidence there is no guess.
#pragma once

#include "core/propose/candidates.h"

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace espalier {

// What of a file and its merge makes hunks alike.
struct FileFacts {
    std::string path;
    std::uint64_t merge = 0;                              // names the merge or replay that the file is a part of
    std::uint64_t who = 0;                                // names who makes it
    int newBaseLines = 0, commitLines = 0, bothLines = 0; // merged without a question: of one side, of both
    int hunks = 0;
};

// What of a hunk does, without its texts: sums of them.
struct HunkFacts {
    std::uint64_t edits = 0, fine = 0;             // see HunkShape
    std::uint64_t masked = 0, exact = 0;           // of all three texts; `exact` but for white space
    std::uint64_t newBaseEdit = 0, commitEdit = 0; // of one side and the ancestor, masked
    std::uint64_t honours = 0;                     // how much of its change each side finds in the other, roughly
    struct Text {
        CandidateKind kind = CandidateKind::NewBase;
        std::uint64_t sum = 0; // of evened() text
        Honoured honoured;
    };
    std::vector<Text> texts;   // the candidates, without Before
    std::uint64_t settled = 0; // the sum of what was settled, when it was
};
// `candidates` are candidatesFor(hunk).
HunkFacts factsOf(const HunkTexts& hunk, std::span<const Candidate> candidates);

// In which way hunks are alike; the names are what they have in common.
enum class Alike : std::uint8_t {
    Project,
    Edits,
    FineEdits,
    Ending,
    EndingEdits,
    Name,
    NameEdits,
    Path,
    PathEdits,
    Folder,
    Merge,
    MergeEnding,
    MergeEdits,
    MergeFolder,
    Masked,
    Exact,
    Honours,
    EndingHonours,
    MergeHonours,
    Who,
    WhoHonours,
    Lately,
    NewBaseEdit,
    CommitEdit,
    Sides,
    SidesHonours,
};
inline constexpr int alikes = 26;

struct Counts {
    int of = 0, right = 0;
};

// How guesses have fared: how many of them should have been wrong by their own confidence, and how many were. Hunks of a merge
// count less the more of them there are.
struct Standing {
    struct Sum {
        double expected = 0, wrong = 0;
    };
    enum Slice : std::uint8_t { All, FewOfMerge, slices }; // of all hunks; of the first twenty of each merge
    static constexpr int bands = 4;                        // from fairly confident ones to those that are all but sure
    static int bandOf(double confidence);                  // the highest that it reaches; -1: none
    std::array<std::array<Sum, bands>, slices> sums{};
    std::array<Sum, std::size_t(candidateKinds)> kinds{};
};

class Record {
  public:
    Record();
    ~Record();
    Record(Record&&) noexcept;
    Record& operator=(Record&&) noexcept;

    // Files of one merge follow each other. What is learnt here was guessed first, by this record and `beside`, and the
    // outcome of that is kept as its standing. Hunks whose `settled` is 0 are left out.
    struct Learnt {
        FileFacts file;
        std::vector<HunkFacts> hunks;
    };
    void learn(std::span<const Learnt> files, const Record* beside = nullptr);

    std::size_t hunks() const; // that were learnt
    const Standing& standing() const;
    struct Data;
    const Data& data() const { return *m_data; }

  private:
    std::unique_ptr<Data> m_data;
};

struct Guess {
    std::size_t text = 0; // index into HunkFacts::texts; as many as there are: what was settled before
    CandidateKind kind = CandidateKind::NewBase;
    std::uint64_t sum = 0;  // of the text
    double confidence = 0;  // that it is right, as far as the weights know
    double merges = 0;      // evidence of so many merges or sessions
    bool begun = false;     // something of this very merge is settled
    bool knowsPath = false; // something of this file is
    // The closest likeness with evidence enough to be told.
    Alike alike = Alike::Project;
    Counts counts;
};
// By all of these records together, which must not hold the same evidence twice. Nothing where they hold none.
std::optional<Guess> guessFor(std::span<const Record* const> records, const FileFacts& file, const HunkFacts& hunk);
// Whether a guess may be shown: confident enough for what such guesses have been worth in these records. `shownOfFile` were shown for
// the same file already: where nothing is known of that file they are right or wrong together, so that each asks for more.
bool mayShow(std::span<const Record* const> records, const Guess& guess, std::size_t shownOfFile = 0);

// For fitting the weights.
inline constexpr int clashFeatures = 4 * (3 * 9 + 3 * 5 + 4 * 5); // what the texts alone say
inline constexpr int guessFeatures = alikes + candidateKinds + 29 + clashFeatures;
inline constexpr int choiceFeatures = 2 * 18; // apart for a merge of which nothing is settled yet
struct GuessWeights {
    std::array<double, guessFeatures> text{};    // of one candidate
    std::array<double, choiceFeatures> choice{}; // of the best one beside the second
};
const GuessWeights& guessWeights();

struct GuessRow {
    std::array<float, guessFeatures> features{};
    std::size_t text = 0;
    CandidateKind kind = CandidateKind::NewBase;
    std::uint64_t sum = 0;
    double merges = 0;
};
std::vector<GuessRow> guessRows(std::span<const Record* const> records, const FileFacts& file, const HunkFacts& hunk);
std::array<float, choiceFeatures> choiceRow(const GuessRow& best, double score, double second);

} // namespace espalier
