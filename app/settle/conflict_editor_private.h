// SPDX-License-Identifier: MIT
//
// The conflict editor's parts. Private to conflict_editor.cpp and conflict_editor_rows.cpp.
#pragma once

#include "app/settle/conflict_editor.h"
#include "app/settle/row_layout.h"
#include "app/settle/text_pane.h"

#include <QTimer>

#include <array>
#include <map>
#include <optional>

class QScrollBar;

namespace espalier {

class PaneCard;

inline constexpr std::array paneOrder{ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled,
                                      ConflictEditor::Pane::Commit};

struct ConflictEditor::Private {
    explicit Private(ConflictEditor* editor) : q(editor) {}

    ConflictEditor* q;
    std::array<PaneCard*, 3> cards{};
    QScrollBar* across = nullptr;
    HunkModel model;
    std::vector<std::optional<HunkDecision>> offers; // a hunk each, or none at all
    std::vector<int> rowStart{0};
    std::array<bool, 3> asChange{};
    std::array<std::map<int, std::vector<RowMark>>, 3> marks; // of the sides, by hunk; found out when they are painted
    int currentHunk = -1;
    int sought = -1; // a row that is shown with its surroundings, be it far from every hunk
    bool onlyAround = false;
    bool scrolling = false;
    bool manyAtOnce = false;
    bool showing = false; // the panes change by setConflict or a decision
    // Rows that were laid out and whose lines, where long ones are wrapped, are counted when their frames are known too.
    std::optional<RowHeights::Pause> uncounted;
    int uncountedFrom = 0, uncountedTo = 0;
    int topRow = -1, topLine = 0; // where the view began before, a row and a line of it; -1: in another file
    QTimer tell;
    int changedFrom = -1, changedTo = -1;

    TextPane* pane(Pane which) const;

    void build();
    void connectPane(Pane which);
    void updateAcross();
    void updateTitles();
    int rowsOf(int group) const { return rowStart[std::size_t(group) + 1] - rowStart[std::size_t(group)]; }
    std::vector<PaneRow> sideRows(Pane side, int group) const;
    std::vector<PaneRow> linesOf(Pane which, int group) const;
    const std::vector<RowMark>& marksOf(Pane side, int hunk);
    // What is offered for an undecided hunk: no part of the text. Empty where there is nothing.
    QStringList ghostOf(int group) const;
    // Rows that a group needs beside those of its sides.
    std::size_t leastHeight(int group) const;
    std::vector<PaneRow> paddedRows(Pane which, int group, int height) const;
    void showAll();
    void layOutGroups(int first, int last, int settledFrom, int settledCount);
    void layOutGroup(int group) { layOutGroups(group, group, rowStart[std::size_t(group)], rowsOf(group)); }
    // Many groups: what is hidden is found out once, behind all of them.
    void layOutAgain(const std::vector<int>& groups);
    void updateFrames();
    void leaveUncounted(int first, int end, int more);
    void countLines();
    void updateVisibility();
    void reveal(int row);
    void takeEdit();
    void readEdit(int firstGroup, int lastGroup, int endRow);
    void followCursor(Pane which);
    // Lines of a side, put behind what a hunk has by now.
    void takeRows(Pane side, int first, int last);
    void setCurrent(int hunk);
    void tellNow();
};

} // namespace espalier
