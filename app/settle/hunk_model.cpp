// SPDX-License-Identifier: MIT
#include "app/settle/hunk_model.h"

#include "app/settle/line_match.h"

#include <algorithm>

namespace espalier {

namespace {

// A keystroke lays out its group again: groups of equal lines are kept small.
constexpr int groupLimit = 256;

std::span<const QString> part(const QStringList& lines, int first, int count)
{
    const int size = int(lines.size());
    first = std::clamp(first, 0, size);
    return {lines.constData() + first, std::size_t(std::clamp(count, 0, size - first))};
}

} // namespace

HunkModel::HunkModel(const ConflictText& text, const FileSettlement& settlement)
    : m_text(text)
    , m_codec(
          TextCodec::forTexts({text.ancestor, text.newBase, text.commit,
                               settlement.wholeText ? std::string_view(*settlement.wholeText) : std::string_view()}))
    , m_ancestor(m_codec.split(text.ancestor))
    , m_newBase(m_codec.split(text.newBase))
    , m_commit(m_codec.split(text.commit))
    , m_decisions(text.hunks.size())
{
    if (settlement.hunks.size() == text.hunks.size())
        m_decisions = settlement.hunks;
    At at;
    for (std::size_t i = 0; i <= text.hunks.size(); ++i) {
        const bool last = i == text.hunks.size();
        const At to = last ? At{int(m_newBase.lines.size()), int(m_commit.lines.size())}
                           : At{text.hunks[i].newBase.first, text.hunks[i].commit.first};
        addBetween(i < text.between.size() ? text.between[i] : std::string(), at, to);
        if (last)
            break;
        const ConflictHunk& hunk = text.hunks[i];
        m_hunkGroups.push_back(groupCount());
        addGroup({int(i), hunk.newBase.first, hunk.newBase.count, hunk.commit.first, hunk.commit.count},
                 linesOf(int(i), m_decisions[i]));
        at = {hunk.newBase.first + hunk.newBase.count, hunk.commit.first + hunk.commit.count};
    }
    m_endsWithNewline = text.between.empty() || text.between.back().empty() || text.between.back().ends_with('\n');
    if (!text.hunks.empty())
        noteFinalNewline(hunkCount() - 1);
    if (settlement.wholeText)
        readWholeText(*settlement.wholeText);
}

void HunkModel::addGroup(const HunkGroup& group, QStringList lines)
{
    if (group.hunk < 0 && group.newBaseCount == 0 && group.commitCount == 0 && lines.isEmpty())
        return;
    m_groups.push_back(group);
    m_merged.push_back(lines);
    m_settled.push_back(std::move(lines));
}

// Lines that all three sides have stand side by side; what lies between two of them is one group.
void HunkModel::addBetween(const std::string& text, At from, At to)
{
    const QStringList lines = m_codec.split(text).lines;
    const std::vector<int> inNewBase =
        matchLines(lines, part(m_newBase.lines, from.newBase, to.newBase - from.newBase));
    const std::vector<int> inCommit = matchLines(lines, part(m_commit.lines, from.commit, to.commit - from.commit));
    int done = 0;
    At at = from;
    const auto addUpTo = [&](int line, int newBase, int commit) {
        addGroup({-1, at.newBase, newBase - at.newBase, at.commit, commit - at.commit}, lines.mid(done, line - done));
        done = line;
        at = {newBase, commit};
    };
    for (int i = 0; i < int(lines.size());) {
        const auto common = [&](int line) {
            return line < int(lines.size()) && inNewBase[std::size_t(line)] >= 0 && inCommit[std::size_t(line)] >= 0;
        };
        if (!common(i)) {
            ++i;
            continue;
        }
        const int newBase = from.newBase + inNewBase[std::size_t(i)], commit = from.commit + inCommit[std::size_t(i)];
        addUpTo(i, newBase, commit);
        int count = 1;
        while (count < groupLimit && common(i + count) &&
               from.newBase + inNewBase[std::size_t(i + count)] == newBase + count &&
               from.commit + inCommit[std::size_t(i + count)] == commit + count)
            ++count;
        i += count;
        addUpTo(i, newBase + count, commit + count);
    }
    addUpTo(int(lines.size()), to.newBase, to.commit);
}

QStringList HunkModel::linesOf(int hunk, const HunkDecision& decision) const
{
    if (decision.choice == Choice::Undecided)
        return {};
    return m_codec.split(hunkText(m_text.hunks[std::size_t(hunk)], decision)).lines;
}

bool HunkModel::endsFile(int hunk) const
{
    return hunk + 1 == hunkCount() && (m_text.between.empty() || m_text.between.back().empty());
}

void HunkModel::noteFinalNewline(int hunk)
{
    if (!endsFile(hunk))
        return;
    const HunkDecision& decision = m_decisions[std::size_t(hunk)];
    const std::string text = decision.choice == Choice::Undecided ? m_text.hunks[std::size_t(hunk)].newBaseText
                                                                  : hunkText(m_text.hunks[std::size_t(hunk)], decision);
    m_endsWithNewline = text.empty() || text.ends_with('\n');
}

int HunkModel::undecided() const
{
    return int(std::ranges::count(m_decisions, Choice::Undecided, &HunkDecision::choice));
}

void HunkModel::decide(int hunk, Choice choice) { decide(hunk, HunkDecision{choice, {}}); }

void HunkModel::decide(int hunk, const HunkDecision& decision)
{
    m_decisions[std::size_t(hunk)] = decision;
    m_settled[std::size_t(groupOfHunk(hunk))] = linesOf(hunk, decision);
    noteFinalNewline(hunk);
}

void HunkModel::setSettled(int index, const QStringList& lines)
{
    if (settled(index) == lines)
        return;
    m_settled[std::size_t(index)] = lines;
    const int hunk = group(index).hunk;
    if (hunk < 0) {
        if (lines == m_merged[std::size_t(index)])
            m_changedOutside.erase(index);
        else
            m_changedOutside.insert(index);
        return;
    }
    m_decisions[std::size_t(hunk)] = {Choice::Typed,
                                      m_codec.join(lines, !endsFile(hunk) || m_endsWithNewline || lines.isEmpty())};
}

QStringList HunkModel::standsFor(int index) const
{
    const int hunk = group(index).hunk;
    if (hunk < 0 || decision(hunk).choice != Choice::Undecided)
        return settled(index);
    return m_newBase.lines.mid(group(index).newBaseFirst, group(index).newBaseCount);
}

FileSettlement HunkModel::settlement() const
{
    FileSettlement result = espalier::undecided(m_text);
    result.hunks = m_decisions;
    if (m_changedOutside.empty())
        return result;
    QStringList all;
    for (int i = 0; i < groupCount(); ++i)
        all += standsFor(i);
    result.wholeText = m_codec.join(all, m_endsWithNewline);
    return result;
}

// Finds each group's lines again in a text that was edited outside the hunks too. What was inserted at the edge of a
// hunk is taken to be outside of it: the hunk's own text is known from its decision.
void HunkModel::readWholeText(const std::string& bytes)
{
    QStringList expected;
    std::vector<int> starts;
    for (int i = 0; i < groupCount(); ++i) {
        starts.push_back(int(expected.size()));
        expected += standsFor(i);
    }
    starts.push_back(int(expected.size()));
    const TextLines whole = m_codec.split(bytes);
    m_endsWithNewline = whole.endsWithNewline;
    const std::vector<int> at = matchLines(expected, whole.lines);
    int from = 0;
    for (int i = 0; i < groupCount(); ++i) {
        int to = from; // after the last line that is surely this group's
        for (int line = starts[std::size_t(i)]; line < starts[std::size_t(i) + 1]; ++line)
            to = std::max(to, at[std::size_t(line)] + 1);
        int next = int(whole.lines.size()); // the first line that is surely a later group's
        for (int line = starts[std::size_t(i) + 1]; line < int(expected.size()); ++line) {
            if (at[std::size_t(line)] >= 0) {
                next = at[std::size_t(line)];
                break;
            }
        }
        const bool takesRest = i + 1 == groupCount() || group(i).hunk < 0;
        const QStringList lines = whole.lines.mid(from, (takesRest ? next : to) - from);
        from = takesRest ? next : to;
        if (lines != standsFor(i))
            setSettled(i, lines);
    }
}

} // namespace espalier
