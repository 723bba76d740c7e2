// SPDX-License-Identifier: MIT
//
// One pane of the settle page: rows of text with line numbers, where rows may be fillers that only keep the panes side by
// side. Frames mark the hunks.
//
//     pane->setRows(rows);
//     pane->replaceRows(first, count, rows);     // touches only what differs
#pragma once

#include "app/settle/line_search.h"
#include "core/merge/line_match.h"
#include "core/settle/indent_habit.h"

#include <QColor>
#include <QPlainTextEdit>

#include <functional>
#include <vector>

namespace espalier {

class CodeHighlighter;
class RowLayout;

struct PaneRow {
    QString text;
    int group = 0;
    bool filler = false;
    ChangedLine::Kind kind = ChangedLine::Same;
};

// A hunk in a pane. `placeholder` stands in the first row while the hunk has no text; below it, in rows without text, `ghost`:
// what is offered, and is no part of the document.
struct HunkFrame {
    int hunk = 0;
    int firstRow = 0, rows = 1;
    QColor line, fill;
    bool dashed = false;
    QString placeholder;
    QStringList ghost = {};
};

// Part of a row, counted from the first row of its hunk's frame: characters [from, to) that the side changed.
struct RowMark {
    int row = 0, from = 0, to = 0;
    friend bool operator==(const RowMark&, const RowMark&) = default;
};

class TextPane : public QPlainTextEdit {
    Q_OBJECT
  public:
    explicit TextPane(QWidget* parent = nullptr);

    void setRows(const std::vector<PaneRow>& rows);
    // Replaces `count` rows (at least one stays in the document) and keeps the rest as it is.
    void replaceRows(int first, int count, const std::vector<PaneRow>& rows);
    PaneRow row(int number) const;
    int rowCount() const { return blockCount(); }
    // What stands beside the row; 0 for nothing.
    int numberOfRow(int row) const;
    // The row of a number, of the last that there is where it is too high; -1 for none.
    int rowOfNumber(int number) const;
    static PaneRow rowOf(const QTextBlock& block);
    // Whether the block carries a tag; blocks that typing has made do not.
    static bool isTagged(const QTextBlock& block);
    // The rows are being replaced by the program.
    bool isReplacing() const { return m_replacing; }

    void setFrames(std::vector<HunkFrame> frames, int currentHunk);
    // Asked for each hunk in view whenever it is painted; in order of rows.
    void setMarks(std::function<const std::vector<RowMark>&(int hunk)> marksOf) { m_marksOf = std::move(marksOf); }
    // Numbers begin with this for the first row that is no filler.
    void setFirstNumber(int number) { m_firstNumber = number; }
    void setMaximumNumber(int number);
    // For rows that are not a file's lines in order: one for each row, 0 for none, until rows change again.
    void setNumbers(std::vector<int> numbers) { m_numbers = std::move(numbers); }
    // Rows for which `visible` is false are hidden; an empty vector shows all.
    void setVisibleRows(const std::vector<char>& visible);
    CodeHighlighter* highlighter() const { return m_highlighter; }
    // A side whose lines are taken one by one: by a click on their numbers, or Return for the row of the cursor and for all that is
    // selected.
    void setGivesRows(bool gives);
    // Marks where these words stand.
    void setSought(const Sought& sought);
    // What Tab does.
    void setIndentHabit(const IndentHabit& habit) { m_habit = habit; }
    // The bracket at the cursor and the one that belongs to it, positions in the document; nothing where the cursor is at none,
    // or its other end is far away.
    std::vector<int> brackets() const { return m_brackets; }
    // Puts a row near the middle.
    void scrollToRow(int row);
    // Its rows are as high as those of the other pane, and wrapped as those are; both stay as they are in all else.
    void standBeside(TextPane& other);
    // Long lines go on in the row's next line, in all panes that stand side by side. Not at first.
    void setWrapped(bool wrapped);
    bool isWrapped() const;
    RowLayout* layoutOfRows() const { return m_layout; }
    // Where the row is in the viewport, with what of it is scrolled out of view at the top.
    QRectF rectOfRow(const QTextBlock& block) const;

    int gutterWidth() const;
    void paintGutter(QPaintEvent* event);
    // The row of a hunk at this height that has a line to give; -1 where there is none.
    int givenRowAt(int y) const;

  Q_SIGNALS:
    // These rows, of which some may be fillers, are to be taken.
    void rowsGiven(int first, int last);

  protected:
    // Leaves the keys of undo and redo to the page.
    bool event(QEvent* event) override;
    void paintEvent(QPaintEvent* event) override;
    void resizeEvent(QResizeEvent* event) override;
    void changeEvent(QEvent* event) override;
    void scrollContentsBy(int dx, int dy) override;
    void keyPressEvent(QKeyEvent* event) override;
    void inputMethodEvent(QInputMethodEvent* event) override;
    QMimeData* createMimeDataFromSelection() const override;
    void insertFromMimeData(const QMimeData* source) override;
    bool canInsertFromMimeData(const QMimeData* source) const override;

  private:
    void renumber(int first, int count, const std::vector<PaneRow>& rows);
    void tag(int first, const std::vector<PaneRow>& rows);
    void updateFont();
    void placeGutter();
    RowLayout* takeLayout();
    void countRowsAgain();
    void layOutView();
    QString ghostAt(int row) const;
    const HunkFrame* frameAt(int row) const;
    void paintFrames(QPainter& painter);
    void paintMarks(QPainter& painter);
    void paintNotes(QPainter& painter);
    void paintGhost(QPainter& painter, const QRectF& room, const HunkFrame& frame, int row);
    void paintStandIns(QPainter& painter);
    void paintSought(QPainter& painter);
    void findBrackets();
    bool typeIndented(const QKeyEvent* event);
    QString indentAt(const QTextBlock& block, int position) const;
    bool typeSpecial(const QKeyEvent* event);
    bool keepToText(QKeyEvent* event);
    void leaveFiller(bool up);

    RowLayout* m_layout;
    QWidget* m_gutter;
    CodeHighlighter* m_highlighter;
    std::vector<HunkFrame> m_frames;
    std::function<const std::vector<RowMark>&(int hunk)> m_marksOf;
    Sought m_sought;
    std::vector<int> m_brackets;
    IndentHabit m_habit;
    int m_currentHunk = -1;
    int m_firstNumber = 1;
    int m_digits = 2;
    bool m_replacing = false;
    bool m_givesRows = false;
    bool m_someHidden = false;
    mutable std::vector<int> m_numbers; // by row, as if the first were 1; empty: to be counted
};

} // namespace espalier
