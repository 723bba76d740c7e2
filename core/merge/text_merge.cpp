// SPDX-License-Identifier: MIT
#include "core/merge/text_merge.h"

#include "core/merge/line_diff.h"

#include <algorithm>

namespace espalier {

namespace {

// One stretch in which a side differs from the ancestor; git's xdmerge_t. The mode says who counts.
struct Change {
    enum Mode { Conflict = 0, NewBase = 1, Commit = 2, Joined = 3, Same = 4 } mode = Conflict;
    LineRange ancestor, newBase, commit;
};

// git's xdl_append_merge: stretches that touch become one.
void append(std::vector<Change>& changes, const Change& next)
{
    if (!changes.empty()) {
        Change& last = changes.back();
        if (next.newBase.first <= last.newBase.end() || next.commit.first <= last.commit.end()) {
            if (next.mode != last.mode)
                last.mode = Change::Conflict;
            last.ancestor.count = next.ancestor.end() - last.ancestor.first;
            last.newBase.count = next.newBase.end() - last.newBase.first;
            last.commit.count = next.commit.end() - last.commit.first;
            return;
        }
    }
    changes.push_back(next);
}

bool equalLines(const Lines& a, int atA, const Lines& b, int atB, int count)
{
    return std::equal(a.ids.begin() + atA, a.ids.begin() + atA + count, b.ids.begin() + atB);
}

// The conflict of two changes that overlap or touch; git's arithmetic in xdl_do_merge.
Change overlap(const LineChange& first, const LineChange& second)
{
    Change change;
    change.ancestor.first = first.a;
    change.newBase.first = first.b;
    change.commit.first = second.b;
    const int off = first.a - second.a;
    const int endOff = off + first.aCount - second.aCount;
    if (off > 0) {
        change.ancestor.first -= off;
        change.newBase.first -= off;
    } else {
        change.commit.first += off;
    }
    change.ancestor.count = first.a + first.aCount - change.ancestor.first;
    change.newBase.count = first.b + first.bCount - change.newBase.first;
    change.commit.count = second.b + second.bCount - change.commit.first;
    if (endOff < 0) {
        change.ancestor.count -= endOff;
        change.newBase.count -= endOff;
    } else {
        change.commit.count += endOff;
    }
    return change;
}

Change onlyNewBase(const LineChange& change, int shiftToCommit)
{
    return {Change::NewBase,
            {change.a, change.aCount},
            {change.b, change.bCount},
            {change.a + shiftToCommit, change.aCount}};
}
Change onlyCommit(const LineChange& change, int shiftToNewBase)
{
    return {Change::Commit,
            {change.a, change.aCount},
            {change.a + shiftToNewBase, change.aCount},
            {change.b, change.bCount}};
}

// git's xdl_do_merge up to the refinements.
std::vector<Change> pairUp(const Lines& newBase, const Lines& commit, const std::vector<LineChange>& toNewBase,
                           const std::vector<LineChange>& toCommit)
{
    std::vector<Change> changes;
    std::size_t i = 0, j = 0;
    int shiftNewBase = 0, shiftCommit = 0; // where an unchanged ancestor line stands in each side
    const auto pass = [](const LineChange& change) { return change.b + change.bCount - change.a - change.aCount; };
    while (i < toNewBase.size() || j < toCommit.size()) {
        if (j == toCommit.size() || (i < toNewBase.size() && toNewBase[i].a + toNewBase[i].aCount < toCommit[j].a)) {
            append(changes,
                   onlyNewBase(toNewBase[i], j < toCommit.size() ? toCommit[j].b - toCommit[j].a : shiftCommit));
            shiftNewBase = pass(toNewBase[i++]);
            continue;
        }
        if (i == toNewBase.size() || toCommit[j].a + toCommit[j].aCount < toNewBase[i].a) {
            append(changes,
                   onlyCommit(toCommit[j], i < toNewBase.size() ? toNewBase[i].b - toNewBase[i].a : shiftNewBase));
            shiftCommit = pass(toCommit[j++]);
            continue;
        }
        const LineChange& first = toNewBase[i];
        const LineChange& second = toCommit[j];
        const bool same = first.a == second.a && first.aCount == second.aCount && first.bCount == second.bCount &&
                          equalLines(newBase, first.b, commit, second.b, first.bCount);
        if (!same)
            append(changes, overlap(first, second));
        const int firstEnd = first.a + first.aCount, secondEnd = second.a + second.aCount;
        if (firstEnd >= secondEnd) {
            shiftCommit = pass(second);
            ++j;
        }
        if (secondEnd >= firstEnd) {
            shiftNewBase = pass(first);
            ++i;
        }
    }
    return changes;
}

// git's xdl_refine_conflicts: equal lines inside a conflict end it ("zealous").
void refine(std::vector<Change>& changes, const Lines& newBase, const Lines& commit, LineDiff algorithm)
{
    std::vector<Change> refined;
    for (const Change& change : changes) {
        if (change.mode != Change::Conflict || change.newBase.count == 0 || change.commit.count == 0) {
            refined.push_back(change);
            continue;
        }
        const auto part = [](const Lines& lines, const LineRange& range) {
            return std::span(lines.ids).subspan(std::size_t(range.first), std::size_t(range.count));
        };
        const auto inside = diffLines(part(newBase, change.newBase), part(commit, change.commit), algorithm);
        if (inside.empty()) {
            refined.push_back(change);
            refined.back().mode = Change::Same;
        }
        for (const LineChange& piece : inside) {
            Change one = change;
            one.newBase = {change.newBase.first + piece.a, piece.aCount};
            one.commit = {change.commit.first + piece.b, piece.bCount};
            refined.push_back(one);
        }
    }
    changes = std::move(refined);
}

// git's xdl_simplify_non_conflicts at the level "zealous": conflicts with three equal lines or less between them are one.
void simplify(std::vector<Change>& changes)
{
    std::vector<Change> joined;
    for (const Change& change : changes) {
        Change* last = joined.empty() ? nullptr : &joined.back();
        if (last && last->mode == Change::Conflict && change.mode == Change::Conflict &&
            change.newBase.first - last->newBase.end() <= 3) {
            last->newBase.count = change.newBase.end() - last->newBase.first;
            last->commit.count = change.commit.end() - last->commit.first;
            last->ancestor.count = std::max(last->ancestor.end(), change.ancestor.end()) - last->ancestor.first;
        } else {
            joined.push_back(change);
        }
    }
    changes = std::move(joined);
}

// Whether the text's lines end in CR LF around line `at`: 1 yes, 0 no, -1 there is nothing to tell from. git's
// is_eol_crlf.
int endsInCrLf(const Lines& lines, int at)
{
    const auto crlf = [](std::string_view line) { return line.size() > 1 && line[line.size() - 2] == '\r'; };
    const int count = lines.count();
    if (count == 0)
        return -1;
    if (at < count - 1)
        return crlf(lines.text[std::size_t(at)]);
    const std::string_view last = lines.text[std::size_t(std::min(at, count - 1))];
    if (last.ends_with('\n'))
        return crlf(last);
    if (at <= 0)
        return -1;
    return crlf(lines.text[std::size_t(std::min(at, count - 1) - 1)]);
}

// Writes the result and what each part of it is.
class Writer {
  public:
    Writer(const Lines& ancestor, const Lines& newBase, const Lines& commit, const TextMergeOptions& options,
           TextMerge& into)
        : m_ancestor(ancestor), m_newBase(newBase), m_commit(commit), m_options(options), m_merge(into)
    {
    }

    void run(const std::vector<Change>& changes, const std::vector<LineChange>& toNewBase,
             const std::vector<LineChange>& toCommit)
    {
        m_toNewBase = &toNewBase;
        m_toCommit = &toCommit;
        for (const Change& change : changes) {
            if (change.mode == Change::Same)
                continue;
            common(change.newBase.first, change.commit.first);
            const PieceOrigin origin = change.mode == Change::NewBase  ? PieceOrigin::NewBase
                                       : change.mode == Change::Commit ? PieceOrigin::Commit
                                       : change.mode == Change::Joined ? PieceOrigin::Joined
                                                                       : PieceOrigin::Conflict;
            const int before = m_lines;
            if (change.mode == Change::Conflict)
                conflict(change);
            if (change.mode == Change::NewBase || change.mode == Change::Joined)
                copy(m_newBase, change.newBase, change.mode == Change::Joined, crLf(change));
            if (change.mode == Change::Commit || change.mode == Change::Joined)
                copy(m_commit, change.commit, false, false);
            add(origin, change.ancestor, change.newBase, change.commit, before);
            if (change.mode == Change::Conflict)
                m_merge.hunks.push_back({change.ancestor, change.newBase, change.commit, {before, m_lines - before}});
            m_atAncestor = change.ancestor.end();
            m_atNewBase = change.newBase.end();
            m_atCommit = change.commit.end();
        }
        common(m_newBase.count(), m_commit.count());
    }

  private:
    void copy(const Lines& from, const LineRange& range, bool endLast, bool crLfEnd)
    {
        if (range.count > 0) {
            // Lines that follow each other do so in memory.
            const std::string_view first = from.text[std::size_t(range.first)];
            const std::string_view last = from.text[std::size_t(range.end() - 1)];
            m_merge.bytes.append(first.data(), std::size_t(last.data() + last.size() - first.data()));
        }
        m_lines += range.count;
        if (endLast && range.count > 0 && !m_merge.bytes.ends_with('\n'))
            m_merge.bytes += crLfEnd ? "\r\n" : "\n";
    }

    // Lines that need no decision: equal in both sides, whether both left them or both changed them.
    void common(int newBaseEnd, int commitEnd)
    {
        const int before = m_lines;
        const LineRange ofNewBase{m_atNewBase, newBaseEnd - m_atNewBase};
        const LineRange ofCommit{m_atCommit, commitEnd - m_atCommit};
        if (ofNewBase.count <= 0 && ofCommit.count <= 0)
            return;
        copy(m_newBase, ofNewBase, false, false);
        const LineRange ofAncestor = ancestorOf(ofNewBase);
        const bool same = ofAncestor.count == ofNewBase.count &&
                          equalLines(m_ancestor, ofAncestor.first, m_newBase, ofNewBase.first, ofNewBase.count);
        add(same ? PieceOrigin::Unchanged : PieceOrigin::Both, ofAncestor, ofNewBase, ofCommit, before);
    }

    // The ancestor's lines behind lines of the new base.
    LineRange ancestorOf(const LineRange& ofNewBase) const
    {
        const auto place = [&](int line, bool end) {
            const auto after = std::ranges::partition_point(
                *m_toNewBase, [&](const LineChange& change) { return change.b < line || (change.b == line && !end); });
            if (after == m_toNewBase->begin())
                return line;
            const LineChange& change = *std::prev(after);
            if (line < change.b + change.bCount || (line == change.b && !end))
                return end ? change.a + change.aCount : change.a;
            return line + change.a + change.aCount - change.b - change.bCount;
        };
        // What the change above took is not taken again, be it lines that the new base has deleted.
        const int first = std::clamp(std::max(place(ofNewBase.first, false), m_atAncestor), 0, m_ancestor.count());
        const int last = std::clamp(place(ofNewBase.end(), true), first, m_ancestor.count());
        return {first, last - first};
    }

    void add(PieceOrigin origin, const LineRange& ofAncestor, const LineRange& ofNewBase, const LineRange& ofCommit,
             int before)
    {
        m_merge.pieces.push_back({origin, ofAncestor, ofNewBase, ofCommit, {before, m_lines - before}});
    }

    // git's is_cr_needed.
    bool crLf(const Change& change) const
    {
        int found = endsInCrLf(m_newBase, change.newBase.first ? change.newBase.first - 1 : 0);
        if (found)
            found = endsInCrLf(m_commit, change.commit.first ? change.commit.first - 1 : 0);
        if (found)
            found = endsInCrLf(m_ancestor, 0);
        return found > 0;
    }

    void marker(char sign, const std::string& label, bool crLfEnd)
    {
        m_merge.bytes.append(std::size_t(m_merge.markerSize), sign);
        if (!label.empty())
            m_merge.bytes += ' ' + label;
        m_merge.bytes += crLfEnd ? "\r\n" : "\n";
        ++m_lines;
    }

    void conflict(const Change& change)
    {
        const bool crLfEnd = crLf(change);
        marker('<', m_options.newBaseLabel, crLfEnd);
        copy(m_newBase, change.newBase, true, crLfEnd);
        marker('=', {}, crLfEnd);
        copy(m_commit, change.commit, true, crLfEnd);
        marker('>', m_options.commitLabel, crLfEnd);
    }

    const Lines& m_ancestor;
    const Lines& m_newBase;
    const Lines& m_commit;
    const TextMergeOptions& m_options;
    TextMerge& m_merge;
    const std::vector<LineChange>* m_toNewBase = nullptr;
    const std::vector<LineChange>* m_toCommit = nullptr;
    int m_atAncestor = 0, m_atNewBase = 0, m_atCommit = 0;
    int m_lines = 0;
};

// The smallest marker that begins no line of the inputs.
int freeMarkerSize(std::initializer_list<std::string_view> texts)
{
    int size = 7;
    for (const std::string_view text : texts) {
        for (std::size_t at = 0; at < text.size();) {
            const char sign = text[at];
            if (sign == '<' || sign == '=' || sign == '>' || sign == '|') {
                const std::size_t end = std::min(text.find_first_not_of(sign, at), text.size());
                size = std::max(size, int(std::min<std::size_t>(end - at, 1000)) + 1);
            }
            const std::size_t next = text.find('\n', at);
            at = next == std::string_view::npos ? text.size() : next + 1;
        }
    }
    return size;
}

} // namespace

bool isBinary(std::string_view bytes) { return bytes.substr(0, 8000).contains('\0'); }

TextMerge mergeTexts(std::string_view ancestor, std::string_view newBase, std::string_view commit,
                     const TextMergeOptions& options)
{
    constexpr std::size_t tooMuch = std::size_t(1) << 30;
    TextMerge merge;
    if (isBinary(ancestor) || isBinary(newBase) || isBinary(commit) ||
        std::max({ancestor.size(), newBase.size(), commit.size()}) > tooMuch) {
        merge.binary = true;
        return merge;
    }
    merge.markerSize = options.markerSize > 0 ? options.markerSize : freeMarkerSize({ancestor, newBase, commit});
    LineTable table;
    const Lines a = table.add(ancestor), n = table.add(newBase, &a), c = table.add(commit, &a);
    const LineDiff algorithm = options.algorithm == DiffAlgorithm::Histogram ? LineDiff::Histogram : LineDiff::Myers;
    const auto toNewBase = diffLines(a.ids, n.ids, algorithm);
    const auto toCommit = diffLines(a.ids, c.ids, algorithm);
    std::vector<Change> changes = pairUp(n, c, toNewBase, toCommit);
    refine(changes, n, c, algorithm);
    simplify(changes);
    if (options.favour == TextFavour::Union)
        for (Change& change : changes)
            if (change.mode == Change::Conflict)
                change.mode = Change::Joined;
    merge.bytes.reserve(std::max(newBase.size(), commit.size()) + 256);
    Writer(a, n, c, options, merge).run(changes, toNewBase, toCommit);
    return merge;
}

} // namespace espalier
