// SPDX-License-Identifier: MIT
//
// Rows that stay side by side while long lines are wrapped: a row is as high in each pane as in the one where it takes most
// lines. Private to app/settle.
//
//     first->layoutOfRows()->standBeside(second->layoutOfRows());
//     rows->setWrapped(true);
//
// A row's lines are counted as they are first looked at, in all panes at once, and are guessed by the row's length before, so that
// a scroll bar, which counts lines, says the same in each pane at any time. Not wrapped, all of it is Qt's own layout.
#pragma once

#include <QPlainTextDocumentLayout>
#include <QPlainTextEdit>

#include <functional>
#include <memory>
#include <unordered_map>
#include <vector>

namespace espalier {

class RowLayout;

// What the panes that stand side by side agree on.
class RowHeights {
  public:
    bool isWrapped() const { return m_wrapped; }
    void setWrapped(bool wrapped);

    // Whether row by row they show the same groups; only then there is anything to agree on.
    bool agree() const;

    // As long as one lives the panes' rows do not correspond: each is laid out for itself. Whoever lets them correspond again says
    // for which rows, by countAgain().
    class Pause {
      public:
        explicit Pause(RowHeights& heights) : m_heights(heights) { ++m_heights.m_paused; }
        ~Pause() { --m_heights.m_paused; }
        Pause(const Pause&) = delete;
        Pause& operator=(const Pause&) = delete;

      private:
        RowHeights& m_heights;
    };

    // Rows [first, end) are others, and those behind them may have got other numbers.
    void countAgain(int first, int end);
    // All of them, in panes that have become wider or narrower or got another font.
    void countAgain();
    // Counts again where something has made the panes differ.
    void keepEqual();

  private:
    friend class RowLayout;

    using Tops = std::vector<double>; // of a row's lines, and where the last one ends; at least two

    const Tops& topsOf(int row);
    // `all`: not only where the panes differ.
    void guess(int first, int end, bool all);
    void setLines(QTextBlock& block, int lines);
    // The scroll bars' highest value: with it the last row is the lowest in view.
    int lastTop(int viewHeight);
    void forget(int row) { m_tops.erase(row); }
    void tell();

    std::vector<RowLayout*> m_panes;
    std::unordered_map<int, Tops> m_tops; // by row, of those that were looked at
    bool m_wrapped = false;
    bool m_changed = false; // a count that the scroll bars do not know yet
    bool m_telling = false;
    int m_paused = 0;
};

class RowLayout : public QPlainTextDocumentLayout {
    Q_OBJECT
  public:
    // The layout of what `pane` shows, for its document; `topRow` tells the first row in view.
    RowLayout(QTextDocument* document, QPlainTextEdit* pane, std::function<int()> topRow);
    ~RowLayout() override;

    void standBeside(RowLayout* other);
    RowHeights& heights() const { return *m_heights; }

    QRectF blockBoundingRect(const QTextBlock& block) const override;
    // How much of the block's top is out of the view and, other than for the lines of its own text, not in contentOffset().
    double hanging(const QTextBlock& block) const;
    // While it is set nothing hangs: the scroll bars are computed.
    void setWhole(bool whole) { m_whole = whole; }
    // Lines are shown in a row that has no text of its own (see HunkFrame::ghost). Empty: none.
    void setShownIn(std::function<QString(int row)> shown) { m_shown = std::move(shown); }
    // Text of setShownIn() as it is to be painted.
    std::unique_ptr<QTextLayout> layOutShown(const QString& text) const;

  protected:
    void documentChanged(int from, int removed, int added) override;

  private:
    friend class RowHeights;

    double lineWidth() const;
    void layOut(const QTextBlock& block) const;
    void place(const QTextBlock& block, const RowHeights::Tops& tops, double hanging) const;
    double hangingOf(const QTextBlock& block, const RowHeights::Tops& tops) const;
    void repaintAll();
    void keepRange();

    QPlainTextEdit* m_pane;
    std::function<int()> m_topRow;
    std::shared_ptr<RowHeights> m_heights;
    std::function<QString(int row)> m_shown;
    int m_rows = 1;
    bool m_whole = false;
};

} // namespace espalier
