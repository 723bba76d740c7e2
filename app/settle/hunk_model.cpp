// SPDX-License-Identifier: MIT
#include "app/settle/hunk_model.h"

#include "core/merge/line_match.h"

#include <algorithm>

namespace espalier {

namespace {

// A keystroke lays out its group again: groups of equal lines are kept small.
constexpr int groupLimit = 256;

} // namespace

HunkModel::HunkModel(const ConflictText& text, const FileSettlement& settlement)
    : m_text(text)
    , m_codec(TextCodec::forTexts({text.ancestor, text.newBase, text.commit}))
    , m_ancestor(m_codec.split(text.ancestor))
    , m_newBase(m_codec.split(text.newBase))
    , m_commit(m_codec.split(text.commit))
    , m_settlement(stillHolding(&settlement, text))
{
    Sides sides{LineReader(m_text.newBase), LineReader(m_text.commit)};
    At at;
    for (int i = 0; i <= hunkCount(); ++i) {
        const bool last = i == hunkCount();
        if (last) {
            addStretch(i, at, {int(m_newBase.lines.size()), int(m_commit.lines.size())}, sides);
            break;
        }
        const ConflictHunk& hunk = text.hunks[std::size_t(i)];
        addStretch(i, at, {hunk.newBase.first, hunk.commit.first}, sides);
        m_hunkGroups.push_back(groupCount());
        addGroup({i, i, hunk.newBase.first, hunk.newBase.count, hunk.commit.first, hunk.commit.count},
                 linesOf(i, decision(i)));
        at = {hunk.newBase.end(), hunk.commit.end()};
    }
    m_endsWithNewline = text.between.empty() || text.between.back().empty() || text.between.back().ends_with('\n');
    if (hunkCount() > 0)
        noteFinalNewline(hunkCount() - 1);
    for (int i = 0; i <= hunkCount(); ++i)
        readEdit(i);
}

void HunkModel::addGroup(const HunkGroup& group, QStringList lines)
{
    if (group.hunk < 0 && group.newBaseCount == 0 && group.commitCount == 0 && lines.isEmpty())
        return;
    m_groups.push_back(group);
    m_settled.push_back(std::move(lines));
}

// Lines that all three sides have stand side by side; what lies between two of them is one group.
void HunkModel::addStretch(int stretch, At from, At to, Sides& sides)
{
    const std::string text =
        std::size_t(stretch) < m_text.between.size() ? m_text.between[std::size_t(stretch)] : std::string();
    const QStringList lines = m_codec.split(text).lines;
    const std::vector<int> inNewBase = matchLines(text, sides.newBase.read({from.newBase, to.newBase - from.newBase}));
    const std::vector<int> inCommit = matchLines(text, sides.commit.read({from.commit, to.commit - from.commit}));
    int done = 0;
    At at = from;
    const auto addUpTo = [&](int line, int newBase, int commit) {
        addGroup({-1, stretch, at.newBase, newBase - at.newBase, at.commit, commit - at.commit},
                 lines.mid(done, line - done));
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
    // An edit has its group, be it that the merge has nothing there.
    if (std::get<SettledStretch>(m_settlement.pieces[std::size_t(stretch) * 2]).edit &&
        (m_groups.empty() || m_groups.back().stretch != stretch)) {
        m_groups.push_back({-1, stretch, at.newBase, 0, at.commit, 0});
        m_settled.emplace_back();
    }
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
    const ConflictHunk& at = m_text.hunks[std::size_t(hunk)];
    const HunkDecision& made = decision(hunk);
    const std::string text = made.choice == Choice::Undecided ? at.newBaseText : hunkText(at, made);
    m_endsWithNewline = text.empty() || text.ends_with('\n');
}

int HunkModel::undecided() const { return int(m_settlement.undecided()); }

int HunkModel::groupOfStretch(int stretch) const
{
    const auto at = std::ranges::lower_bound(m_groups, stretch, {}, &HunkGroup::stretch);
    return std::min(int(at - m_groups.begin()), groupCount() - 1);
}

void HunkModel::decide(int hunk, Choice choice) { decide(hunk, HunkDecision{choice, {}}); }

void HunkModel::decide(int hunk, const HunkDecision& made)
{
    m_settlement.decide(std::size_t(hunk), made);
    m_settled[std::size_t(groupOfHunk(hunk))] = linesOf(hunk, made);
    noteFinalNewline(hunk);
}

QStringList HunkModel::linesOfStretch(int stretch) const
{
    QStringList lines;
    for (int i = groupOfStretch(stretch); i < groupCount() && group(i).stretch == stretch && group(i).hunk < 0; ++i)
        lines += settled(i);
    return lines;
}

void HunkModel::setSettled(int first, const std::vector<QStringList>& lines)
{
    int edited = -1; // the stretch that is written once all of its groups have their lines
    for (int i = 0; i < int(lines.size()); ++i) {
        const int index = first + i;
        if (settled(index) == lines[std::size_t(i)])
            continue;
        m_settled[std::size_t(index)] = lines[std::size_t(i)];
        const int hunk = group(index).hunk;
        if (hunk < 0 && edited != group(index).stretch) {
            if (edited >= 0)
                noteEdit(edited);
            edited = group(index).stretch;
        }
        if (hunk < 0)
            continue;
        const QStringList& typed = lines[std::size_t(i)];
        const bool ended = !endsFile(hunk) || m_endsWithNewline || typed.isEmpty();
        m_settlement.decide(std::size_t(hunk), {Choice::Typed, m_codec.join(typed, ended)});
    }
    if (edited >= 0)
        noteEdit(edited);
}

void HunkModel::noteEdit(int stretch)
{
    const std::string& merged = m_text.between[std::size_t(stretch)];
    const QStringList all = linesOfStretch(stretch);
    std::string text = m_codec.join(all, stretch < hunkCount() || m_endsWithNewline || all.isEmpty());
    auto& edit = std::get<SettledStretch>(m_settlement.pieces[std::size_t(stretch) * 2]).edit;
    if (text == merged)
        edit.reset();
    else
        edit = StretchEdit{merged, std::move(text)};
}

// Finds the lines of each group again in the text that was typed over their stretch.
void HunkModel::readEdit(int stretch)
{
    const auto& edit = std::get<SettledStretch>(m_settlement.pieces[std::size_t(stretch) * 2]).edit;
    if (!edit)
        return;
    const TextLines typed = m_codec.split(edit->text);
    if (stretch == hunkCount() && !edit->text.empty())
        m_endsWithNewline = typed.endsWithNewline;
    const std::vector<int> at = matchLines(edit->was, edit->text);
    int line = 0, from = 0;
    const int first = groupOfStretch(stretch);
    for (int i = first; i < groupCount() && group(i).stretch == stretch && group(i).hunk < 0; ++i) {
        line += int(settled(i).size());
        int to = int(typed.lines.size()); // the first line that is surely a later group's
        for (std::size_t later = std::size_t(line); later < at.size(); ++later)
            if (at[later] >= 0) {
                to = at[later];
                break;
            }
        m_settled[std::size_t(i)] = typed.lines.mid(from, to - from);
        from = to;
    }
}

} // namespace espalier
