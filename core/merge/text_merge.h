// SPDX-License-Identifier: MIT
//
// Three-way merge of texts. The result is, byte for byte, what git's merge of trees writes for the same three texts
// (histogram diff, "zealous" conflicts, style "merge"), and beside the bytes it says which lines came from where, so
// that the settle page rebuilds the file from pieces and never has to look for markers in it.
//
// Not libgit2's git_merge_file: that has no histogram diff, so its conflicts are not git's, and it tells no pieces. On its own
// terms it takes as long for 1,000 lines with 25 changes a side (274 us against 263), and is six times as quick for 20,000 lines
// with 500 (53 ms against 9): each change that the histogram takes out makes it look at the rest anew, as in git
// (tests/bench/bench_own_code).
//
//     TextMerge merge = mergeTexts("a\nb\n", "a\nB\n", "a\nc\n");
//     merge.clean();            // false: both changed line 2
//     merge.bytes;              // "a\n<<<<<<< new base\nB\n=======\nc\n>>>>>>> your commit\n"
//     merge.hunks[0].newBase;   // {1, 1}
//     for (const Segment& segment : segmentsOf(merge, ancestor, newBase, commit)) …
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// Lines of a text: the first one counted from 0, and how many. A range of no lines stands before line `first`.
struct LineRange {
    int first = 0;
    int count = 0;
    int end() const { return first + count; }
    friend bool operator==(const LineRange&, const LineRange&) = default;
};
// Whether two ranges share a line, or touch so closely that a change of one is a change of the other's edge: an empty
// range meets the ranges that it stands inside of or at the edge of.
bool rangesMeet(const LineRange& a, const LineRange& b);

enum class TextFavour : std::uint8_t {
    None,  // hunks that both sides changed differently are conflicts
    Union, // such hunks get the lines of both, the new base's first (the attribute merge=union)
};

enum class DiffAlgorithm : std::uint8_t {
    Histogram, // what git merges trees with
    Myers,     // what `git merge-file` uses when nothing is said
};

struct TextMergeOptions {
    TextFavour favour = TextFavour::None;
    DiffAlgorithm algorithm = DiffAlgorithm::Histogram;
    // Characters of a marker (git: 7). 0: the smallest number from 7 on whose markers begin no line of the inputs.
    int markerSize = 7;
    std::string newBaseLabel = "new base";
    std::string commitLabel = "your commit";
};

// A conflict hunk. `result` covers the hunk in TextMerge::bytes, marker lines included. Hunks that were one conflict
// before equal lines in its middle were taken out of it share the ancestor's range.
struct TextHunk {
    LineRange ancestor, newBase, commit, result;
    // Of a hunk that the user has split (core/settle/split.h): which of how many.
    int part = 0, parts = 1;
    friend bool operator==(const TextHunk&, const TextHunk&) = default;
};

enum class PieceOrigin : std::uint8_t {
    Unchanged, // equal in all three
    NewBase,   // only the new base changed it
    Commit,    // only the commit changed it
    Both,      // both made the same change
    Joined,    // both changed it, and Union put one after the other
    Conflict,  // a hunk, with markers
};

// The whole result in order, without a gap: which lines of each text it stands for.
struct TextPiece {
    PieceOrigin origin = PieceOrigin::Unchanged;
    LineRange ancestor, newBase, commit, result;
    friend bool operator==(const TextPiece&, const TextPiece&) = default;
};

struct TextMerge {
    bool binary = false;           // not merged as text: one of the three is binary (see isBinary) or over 1 GiB
    std::string bytes;             // the merged text, conflicts in marker form; empty when `binary`
    std::vector<TextHunk> hunks;   // as many as git reports for these texts
    std::vector<TextPiece> pieces; // covers `bytes`; empty when `binary` or when `bytes` is empty
    int markerSize = 7;            // what was used
    bool clean() const { return !binary && hunks.empty(); }
};

// Merges. An empty ancestor is right for files that both sides added. Never fails: texts that cannot be merged line by
// line come back with `binary` set. Line ends are part of the lines: CR LF and LF differ; a missing last line end is kept
// as git keeps it. Source of the diff: the histogram algorithm as git's xdiff has it, with Myers, "An O(ND) Difference
// Algorithm and Its Variations" (1986), where a line occurs too often; of the merge: Khanna, Kunal and Pierce, "A Formal
// Investigation of Diff3" (2007), with git's refinement of conflicts.
TextMerge mergeTexts(std::string_view ancestor, std::string_view newBase, std::string_view commit,
                     const TextMergeOptions& options = {});

// A zero byte among the first 8000 (common practice; git's buffer_is_binary).
bool isBinary(std::string_view bytes);

// A run of settled text, or a hunk. The views point into the merge's bytes and the texts handed in.
struct Segment {
    bool conflict = false;
    std::string_view text;                      // settled text; empty for a conflict
    std::string_view ancestor, newBase, commit; // the three texts of a conflict; empty for settled text
    std::size_t hunk = 0;                       // index into TextMerge::hunks of a conflict
    int part = 0, parts = 1;                    // see TextHunk
};
// The result taken apart. Neighbouring settled pieces are one segment; there is a (perhaps empty) settled segment before,
// between and after the hunks, so the list has 2 * hunks + 1 entries. `merge` must be of these three texts.
std::vector<Segment> segmentsOf(const TextMerge& merge, std::string_view ancestor, std::string_view newBase,
                                std::string_view commit);

// ---- Regions that are held: a file whose earlier conflict nobody has settled yet goes on as the new base of later
// commits in its marker form; `held` are the lines of those markers in the new base.

// Whether the commit changes (cleanly or not) lines of the new base that meet one of `held`: then its outcome depends on
// how they are settled. Indices into `held`, in order.
std::vector<std::size_t> heldTouched(const TextMerge& merge, std::span<const LineRange> held);
// Indices into merge.hunks of the conflicts that meet `range` of the new base.
std::vector<std::size_t> hunksMeeting(const TextMerge& merge, const LineRange& range);
// Where a range of the new base's lines stands in the result; grown to the whole hunk where it meets a conflict.
LineRange rangeInResult(const TextMerge& merge, const LineRange& ofNewBase);
// The held regions of the result: the new base's, moved along, and the hunks of this merge; in order, joined where they
// meet.
std::vector<LineRange> heldInResult(const TextMerge& merge, std::span<const LineRange> heldInNewBase);

// The texts of a range, bytes with line ends; clipped to what there is.
std::string_view linesOf(std::string_view text, const LineRange& range);
// The same for many ranges of one text, in order: each line is looked for once. A range that begins before the last one
// costs a walk from the top. The text must outlive it.
class LineReader {
  public:
    explicit LineReader(std::string_view text) : m_text(text) {}
    std::string_view read(const LineRange& range);

  private:
    std::size_t skip(std::size_t at, int lines) const;

    std::string_view m_text;
    LineRange m_last;
    std::size_t m_begin = 0, m_end = 0; // of the last range, in bytes
};
int countLines(std::string_view text); // a last line without its line end counts

} // namespace espalier
