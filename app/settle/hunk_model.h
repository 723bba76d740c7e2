// SPDX-License-Identifier: MIT
//
// A conflict laid out as rows that the three panes share: groups of lines that belong together, each as high as its
// highest side. Holds the settled text line by line, so that what was typed goes back into decisions and bytes.
//
//     HunkModel model(text, settlement);
//     model.group(g).hunk;             // -1: outside the hunks
//     model.settlement();              // what the lines say now
#pragma once

#include "app/settle/text_codec.h"
#include "core/conflicts/conflict_text.h"
#include "core/settle/carry.h"

#include <QStringList>

#include <vector>

namespace espalier {

// A stretch of lines that stand side by side; half-open line numbers of each side's whole file.
struct HunkGroup {
    int hunk = -1;
    int stretch = 0; // the one it is part of, or the one before the hunk
    int newBaseFirst = 0, newBaseCount = 0;
    int commitFirst = 0, commitCount = 0;
};

class HunkModel {
  public:
    HunkModel() = default;
    // What of the settlement holds for the text (stillHolding).
    HunkModel(const ConflictText& text, const FileSettlement& settlement);

    const TextCodec& codec() const { return m_codec; }
    const QStringList& newBaseLines() const { return m_newBase.lines; }
    const QStringList& commitLines() const { return m_commit.lines; }
    const QStringList& ancestorLines() const { return m_ancestor.lines; }
    int groupCount() const { return int(m_groups.size()); }
    const HunkGroup& group(int index) const { return m_groups[std::size_t(index)]; }
    int hunkCount() const { return int(m_text.hunks.size()); }
    int groupOfHunk(int hunk) const { return m_hunkGroups[std::size_t(hunk)]; }
    const ConflictText& text() const { return m_text; }

    // The settled text's lines of a group; an undecided hunk has none.
    const QStringList& settled(int index) const { return m_settled[std::size_t(index)]; }
    const HunkDecision& decision(int hunk) const { return m_settlement.decision(std::size_t(hunk)); }
    // The bytes that a hunk's decision puts there.
    std::string settledBytes(int hunk) const { return hunkText(m_text.hunks[std::size_t(hunk)], decision(hunk)); }
    // What a decision would put there.
    QStringList linesFor(int hunk, const HunkDecision& decision) const { return linesOf(hunk, decision); }
    // The first group of a stretch, or the hunk behind it where the stretch is empty.
    int groupOfStretch(int stretch) const;
    int undecided() const;

    // Puts a choice in a hunk's place (Undecided empties it again).
    void decide(int hunk, Choice choice);
    void decide(int hunk, const HunkDecision& decision);
    // The lines of a group were typed. In a hunk they become the user's own text, unless they are what the choice says;
    // outside the hunks an edit of their stretch.
    void setSettled(int index, const QStringList& lines) { setSettled(index, std::vector<QStringList>{lines}); }
    // Of several groups from `first` on.
    void setSettled(int first, const std::vector<QStringList>& lines);

    const FileSettlement& settlement() const { return m_settlement; }

  private:
    struct At { // how far each side has been laid out
        int newBase = 0, commit = 0;
    };
    struct Sides { // whose lines are read in order
        LineReader newBase, commit;
    };
    void addStretch(int stretch, At from, At to, Sides& sides);
    void addGroup(const HunkGroup& group, QStringList lines);
    void readEdit(int stretch);
    void noteEdit(int stretch);
    QStringList linesOfStretch(int stretch) const;
    QStringList linesOf(int hunk, const HunkDecision& decision) const;
    bool endsFile(int hunk) const;
    void noteFinalNewline(int hunk);

    ConflictText m_text;
    TextCodec m_codec;
    TextLines m_ancestor, m_newBase, m_commit;
    std::vector<HunkGroup> m_groups;
    std::vector<int> m_hunkGroups;
    std::vector<QStringList> m_settled;
    FileSettlement m_settlement;
    bool m_endsWithNewline = true;
};

} // namespace espalier
