// SPDX-License-Identifier: MIT
#include "core/settle/carry.h"

#include "core/merge/line_match.h"
#include "core/settle/compose.h"

#include <algorithm>

namespace espalier {

namespace {

SettledStretch& stretchAt(FileSettlement& file, std::size_t stretch)
{
    return std::get<SettledStretch>(file.pieces[2 * stretch]);
}
const SettledStretch& stretchAt(const FileSettlement& file, std::size_t stretch)
{
    return std::get<SettledStretch>(file.pieces[2 * stretch]);
}

// For each hunk of `fresh` the one of `kept` with the same three texts, or -1; the answers rise. Hunks whose texts were
// not noted are known by their place, as long as the inputs are the same.
std::vector<int> sameHunks(const FileSettlement& kept, const FileSettlement& fresh)
{
    std::map<Oid, std::uint32_t> numbers;
    std::uint32_t next = 0;
    const auto numberOf = [&](const Oid& texts) {
        if (texts.isZero())
            return next++;
        const auto [at, isNew] = numbers.try_emplace(texts, next);
        next += isNew;
        return at->second;
    };
    const auto textsOf = [](const FileSettlement& file, std::size_t hunk) {
        return std::get<SettledHunk>(file.pieces[file.pieceOfHunk(hunk)]).texts;
    };
    const bool sameInputs = kept.blobs == fresh.blobs && kept.hunkCount() == fresh.hunkCount();
    std::vector<std::uint32_t> before, now;
    for (std::size_t i = 0; i < kept.hunkCount(); ++i) {
        const Oid texts = textsOf(kept, i);
        before.push_back(numberOf(texts.isZero() && sameInputs ? textsOf(fresh, i) : texts));
    }
    for (std::size_t i = 0; i < fresh.hunkCount(); ++i)
        now.push_back(numberOf(textsOf(fresh, i)));
    return matchNumbers(now, before);
}

// Nothing that was typed is dropped, be it that two edits wait in one place.
void addWaiting(SettledStretch& stretch, const WaitingEdit& more)
{
    if (!stretch.waiting) {
        stretch.waiting = more;
        return;
    }
    stretch.waiting->edit.was += more.edit.was;
    stretch.waiting->edit.text += more.edit.text;
    stretch.waiting->wholeFile |= more.wholeFile;
}

// Takes edits over into stretches [first, last] of `fresh`: each is merged into all of the text that stands there now,
// with a line in place of every hunk between. So it does not matter where the hunks cut that text when it was typed.
class Carrier {
  public:
    Carrier(FileSettlement& fresh, std::span<const Segment> segments, std::size_t first, std::size_t last)
        : m_fresh(fresh), m_segments(segments), m_first(first), m_last(last)
    {
        for (std::size_t i = first; i <= last; ++i)
            m_texts.emplace_back(segments[2 * i].text);
    }

    // `home` is where what fits nowhere waits.
    void take(const SettledStretch& kept, std::size_t home)
    {
        if (kept.edit)
            take(WaitingEdit{*kept.edit}, home);
        if (kept.waiting)
            take(*kept.waiting, home);
    }

    void finish()
    {
        for (std::size_t i = m_first; i <= m_last; ++i)
            if (const std::string_view now = m_segments[2 * i].text; m_texts[i - m_first] != now)
                stretchAt(m_fresh, i).edit = StretchEdit{std::string(now), m_texts[i - m_first]};
    }

  private:
    void take(const WaitingEdit& edit, std::size_t home)
    {
        std::string all = m_texts.front();
        for (std::size_t i = m_first; i < m_last; ++i)
            all += mark(i) + m_texts[i + 1 - m_first];
        std::vector<std::string> cut;
        if (!edit.wholeFile && cutAgain(merged(edit.edit, all), cut))
            m_texts = std::move(cut);
        else
            addWaiting(stretchAt(m_fresh, home), edit);
    }
    // Nothing when the edit and what has become of its place do not go together.
    static std::optional<std::string> merged(const StretchEdit& edit, const std::string& now)
    {
        if (edit.was == now)
            return edit.text;
        TextMerge merge = mergeTexts(edit.was, now, edit.text);
        return merge.clean() ? std::optional(std::move(merge.bytes)) : std::nullopt;
    }
    // The line for the hunk behind a stretch: its texts' name makes it one that no file has.
    std::string mark(std::size_t stretch) const
    {
        const auto& hunk = std::get<SettledHunk>(m_fresh.pieces[2 * stretch + 1]);
        return "\x01 hunk " + std::to_string(stretch) + ' ' + hunk.texts.hex() + '\n';
    }
    bool cutAgain(const std::optional<std::string>& whole, std::vector<std::string>& cut) const
    {
        if (!whole)
            return false;
        std::string_view bytes = *whole;
        for (std::size_t i = m_first; i < m_last; ++i) {
            const std::string line = mark(i);
            const std::size_t at = bytes.find(line);
            if (at == std::string_view::npos || (at > 0 && bytes[at - 1] != '\n'))
                return false;
            cut.emplace_back(bytes.substr(0, at));
            bytes.remove_prefix(at + line.size());
        }
        cut.emplace_back(bytes);
        return true;
    }

    FileSettlement& m_fresh;
    std::span<const Segment> m_segments;
    std::size_t m_first, m_last;
    std::vector<std::string> m_texts; // of the stretches, with what has been merged into them
};

// Between hunks that stayed the same, stretches correspond one for one as long as their number is the same; else others
// came or went there, and the text is taken as a whole.
void carryEdits(const FileSettlement& kept, FileSettlement& fresh, std::span<const Segment> segments,
                const std::vector<int>& same)
{
    std::size_t keptFirst = 0, freshFirst = 0;
    for (std::size_t hunk = 0; hunk <= same.size(); ++hunk) {
        if (hunk < same.size() && same[hunk] < 0)
            continue;
        // Stretches [keptFirst, keptLast] are to be found in [freshFirst, hunk].
        const std::size_t keptLast = hunk < same.size() ? std::size_t(same[hunk]) : kept.hunkCount();
        const bool oneForOne = keptLast - keptFirst == hunk - freshFirst;
        Carrier all(fresh, segments, freshFirst, hunk);
        for (std::size_t i = keptFirst; i <= keptLast; ++i) {
            const std::size_t home = std::min(freshFirst + (i - keptFirst), hunk);
            Carrier one(fresh, segments, home, home);
            Carrier& carrier = oneForOne ? one : all;
            carrier.take(stretchAt(kept, i), home);
            if (oneForOne)
                one.finish();
        }
        if (!oneForOne)
            all.finish();
        keptFirst = keptLast + 1;
        freshFirst = hunk + 1;
    }
}

// An edit laid upon what has become of its place: where both changed the same lines, the edit's stand.
std::string putInto(const std::string& now, const StretchEdit& edit)
{
    const TextMerge merge = mergeTexts(edit.was, now, edit.text);
    return merge.binary ? edit.text : compose(merge, now, edit.text, {}, Choice::YourCommit).bytes;
}

// The text that stands for each piece in the older form's whole files, where an undecided hunk had the new base's lines.
std::vector<std::string> standIns(const FileSettlement& file, std::span<const Segment> segments)
{
    std::vector<std::string> texts;
    const std::string_view lineEnd = lineEndOf(segments);
    for (std::size_t i = 0; i < segments.size(); ++i)
        texts.push_back(pieceBytes(segments[i], file.pieces[i], Choice::NewBase, lineEnd));
    return texts;
}

// Where the lines of each piece went in `whole`, which has `lines` lines: one range a piece, in order, without a gap.
// `at` says it line for line, `starts` are the pieces' first lines. What was inserted at the edge of a hunk is taken to be
// outside of it: a hunk's text is known from its decision.
std::vector<LineRange> placesIn(int lines, const std::vector<int>& at, const std::vector<int>& starts)
{
    // The first line of `whole` that surely belongs to line i or a later one.
    std::vector<int> next(at.size() + 1, lines);
    for (std::size_t i = at.size(); i-- > 0;)
        next[i] = at[i] >= 0 ? at[i] : next[i + 1];
    std::vector<LineRange> places;
    int from = 0;
    for (std::size_t piece = 0; piece + 1 < starts.size(); ++piece) {
        int end = from;
        for (int line = starts[piece]; line < starts[piece + 1]; ++line)
            end = std::max(end, at[std::size_t(line)] + 1);
        if (piece % 2 == 0)
            end = std::max(from, next[std::size_t(starts[piece + 1])]);
        places.push_back({from, end - from});
        from = end;
    }
    return places;
}

// A whole file of the older form as edits of its stretches and text of its decided hunks. Nothing when it does not come
// apart so: then it has to be looked at.
std::optional<FileSettlement> takenApart(FileSettlement file, std::span<const Segment> segments)
{
    const std::string whole = stretchAt(file, 0).waiting->edit.text;
    stretchAt(file, 0).waiting.reset();
    const std::vector<std::string> expected = standIns(file, segments);
    std::string all;
    std::vector<int> starts{0};
    for (const std::string& text : expected) {
        appendLines(all, text);
        starts.push_back(countLines(all));
    }
    const std::vector<LineRange> places = placesIn(countLines(whole), matchLines(all, whole), starts);
    LineReader lines(whole);
    for (std::size_t i = 0; i < segments.size(); ++i) {
        const std::string_view text = lines.read(places[i]);
        if (text == expected[i])
            continue;
        if (auto* stretch = std::get_if<SettledStretch>(&file.pieces[i]))
            stretch->edit = StretchEdit{std::string(segments[i].text), std::string(text)};
        else if (!isOpen(file.pieces[i]))
            std::get<SettledHunk>(file.pieces[i]).decision = {Choice::Typed, std::string(text)};
    }
    if (settledBytes(segments, file.pieces, Choice::NewBase) != whole)
        return std::nullopt;
    return file;
}

} // namespace

FileSettlement stillHolding(const FileSettlement* kept, FileSettlement fresh, std::span<const Segment> segments)
{
    if (kept && !segments.empty()) {
        fresh.form = kept->form;
        fresh.cuts = kept->cuts;
    }
    if (!kept || kept->pieces.empty() || !kept->touched())
        return fresh;
    if (segments.empty()) { // a whole path
        if (kept->blobs == fresh.blobs && kept->hunkCount() == 1)
            fresh.decide(0, kept->decision(0));
        return fresh;
    }
    if (kept->pieces.size() == 1 && kept->hunkCount() == 1)
        return fresh; // decided when it was no text
    const std::vector<int> same = sameHunks(*kept, fresh);
    for (std::size_t i = 0; i < same.size(); ++i)
        if (same[i] >= 0)
            fresh.decide(i, kept->decision(std::size_t(same[i])));
    carryEdits(*kept, fresh, segments, same);
    const auto& first = stretchAt(fresh, 0).waiting;
    if (first && first->wholeFile && kept->blobs == fresh.blobs)
        if (auto apart = takenApart(fresh, segments))
            return std::move(*apart);
    return fresh;
}

FileSettlement withEditAnswered(FileSettlement settlement, std::span<const Segment> segments, std::size_t piece,
                                bool putBack)
{
    if (piece % 2 != 0 || piece >= settlement.pieces.size() || !isOpen(settlement.pieces[piece]))
        return settlement;
    SettledStretch& stretch = stretchAt(settlement, piece / 2);
    if (putBack) {
        // Hunk by hunk as far as it goes; where it does not, the file's lines stand in the stretch, to be cut by hand.
        if (stretch.waiting->wholeFile && piece == 0)
            if (auto apart = takenApart(settlement, segments))
                return std::move(*apart);
        const std::string_view merged = segments[piece].text;
        const std::string now = stretch.edit ? stretch.edit->text : std::string(merged);
        stretch.edit = StretchEdit{std::string(merged), putInto(now, stretch.waiting->edit)};
    }
    stretch.waiting.reset();
    return settlement;
}

} // namespace espalier
