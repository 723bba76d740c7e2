// SPDX-License-Identifier: MIT
//
// How the conflict editor lays its groups out as rows of the three panes, and reads them back when something was typed.
#include "app/settle/conflict_editor_private.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/pane_card.h"
#include "app/support/theme.h"
#include "core/merge/changed_words.h"
#include "core/settle/compose.h"

#include <QScopedValueRollback>
#include <QScrollBar>
#include <QTextBlock>

#include <algorithm>

namespace espalier {

namespace {

constexpr int aroundHunks = 6;     // rows
constexpr int mostGhostLines = 60; // of what is offered: longer than that nobody reads it here

} // namespace

std::vector<PaneRow> ConflictEditor::Private::sideRows(Pane side, int group) const
{
    const HunkGroup& at = model.group(group);
    const bool left = side == Pane::NewBase;
    const QStringList& all = left ? model.newBaseLines() : model.commitLines();
    const QStringList lines = all.mid(left ? at.newBaseFirst : at.commitFirst, left ? at.newBaseCount : at.commitCount);
    std::vector<PaneRow> rows;
    if (!asChange[std::size_t(side)] || at.hunk < 0) {
        for (const QString& line : lines)
            rows.push_back({line, group, false, ChangedLine::Same});
        return rows;
    }
    const ConflictHunk& hunk = model.text().hunks[std::size_t(at.hunk)];
    const QStringList old = model.ancestorLines().mid(hunk.ancestor.first, hunk.ancestor.count);
    for (const ChangedLine& line : changeOf(hunk.ancestorText, left ? hunk.newBaseText : hunk.commitText))
        rows.push_back({(line.kind == ChangedLine::Removed ? old : lines).at(line.line), group, false, line.kind});
    return rows;
}

const std::vector<RowMark>& ConflictEditor::Private::marksOf(Pane side, int hunk)
{
    const auto [at, isNew] = marks[std::size_t(side)].try_emplace(hunk);
    if (!isNew)
        return at->second;
    const ConflictHunk& texts = model.text().hunks[std::size_t(hunk)];
    const std::string& text = side == Pane::NewBase ? texts.newBaseText : texts.commitText;
    const ChangedWords words = changedWords(texts.ancestorText, text);
    const auto add = [&](LineReader& lines, const WordSpan& span, int row) {
        const std::string_view line = lines.read({span.line, 1});
        const auto upTo = [&](int byte) {
            return int(model.codec().decodeLine(line.substr(0, std::size_t(byte))).size());
        };
        at->second.push_back({row, upTo(span.from), upTo(span.to)});
    };
    LineReader now(text), old(texts.ancestorText);
    if (!asChange[std::size_t(side)]) {
        for (const WordSpan& span : words.after)
            add(now, span, span.line);
        return at->second;
    }
    auto after = words.after.begin(), before = words.before.begin();
    int row = 0;
    for (const ChangedLine& line : changeOf(texts.ancestorText, text)) {
        const bool removed = line.kind == ChangedLine::Removed;
        auto& next = removed ? before : after;
        const auto end = removed ? words.before.end() : words.after.end();
        for (; next != end && next->line == line.line; ++next)
            add(removed ? old : now, *next, row);
        ++row;
    }
    return at->second;
}

std::vector<PaneRow> ConflictEditor::Private::linesOf(Pane which, int group) const
{
    if (which != Pane::Settled)
        return sideRows(which, group);
    std::vector<PaneRow> rows;
    for (const QString& line : model.settled(group))
        rows.push_back({line, group, false, ChangedLine::Same});
    return rows;
}

std::vector<PaneRow> ConflictEditor::Private::paddedRows(Pane which, int group, int height) const
{
    std::vector<PaneRow> rows = linesOf(which, group);
    rows.resize(std::size_t(height), PaneRow{QString(), group, true, ChangedLine::Same});
    return rows;
}

QStringList ConflictEditor::Private::ghostOf(int group) const
{
    const int hunk = model.group(group).hunk;
    if (hunk < 0 || std::size_t(hunk) >= offers.size() || !offers[std::size_t(hunk)] ||
        model.decision(hunk).choice != Choice::Undecided)
        return {};
    QStringList lines = model.linesFor(hunk, *offers[std::size_t(hunk)]);
    if (lines.isEmpty())
        return {tr("(no lines: they are left out)")};
    if (const qsizetype all = lines.size(); all > mostGhostLines)
        lines = lines.first(mostGhostLines - 1) << tr("(and %1 more lines)").arg(all - mostGhostLines + 1);
    return lines;
}

std::size_t ConflictEditor::Private::leastHeight(int group) const
{
    const QStringList ghost = ghostOf(group);
    return ghost.isEmpty() ? 1 : std::size_t(ghost.size()) + 1; // the placeholder has the first
}

void ConflictEditor::Private::showAll()
{
    std::array<std::vector<PaneRow>, 3> all;
    rowStart.assign(1, 0);
    for (int group = 0; group < model.groupCount(); ++group) {
        std::size_t height = leastHeight(group);
        std::array<std::vector<PaneRow>, 3> lines;
        for (const Pane which : paneOrder) {
            lines[std::size_t(which)] = linesOf(which, group);
            height = std::max(height, lines[std::size_t(which)].size());
        }
        for (const Pane which : paneOrder) {
            auto& rows = lines[std::size_t(which)];
            rows.resize(height, PaneRow{QString(), group, true, ChangedLine::Same});
            std::ranges::move(rows, std::back_inserter(all[std::size_t(which)]));
        }
        rowStart.push_back(rowStart.back() + int(height));
    }
    marks = {};
    showing = true;
    leaveUncounted(0, rowStart.back(), 0);
    topRow = -1;
    const QString file = QString::fromUtf8(model.text().path);
    for (const Pane which : paneOrder) {
        TextPane* shown = pane(which);
        shown->setMaximumNumber(rowStart.back()); // before: room for more digits lays all rows out again
        shown->setRows(all[std::size_t(which)]);
        shown->highlighter()->setFile(file, q->palette());
    }
    showing = false;
}

// Lays groups out again after their lines changed; the settled pane's rows for them are [settledFrom, +settledCount).
void ConflictEditor::Private::layOutGroups(int first, int last, int settledFrom, int settledCount)
{
    showing = true;
    const int from = rowStart[std::size_t(first)], count = rowStart[std::size_t(last) + 1] - from;
    std::vector<int> heights;
    int total = 0;
    for (int group = first; group <= last; ++group) {
        std::size_t height = leastHeight(group);
        for (const Pane which : paneOrder)
            height = std::max(height, linesOf(which, group).size());
        heights.push_back(int(height));
        total += int(height);
    }
    leaveUncounted(from, from + total, total - count);
    for (const Pane which : paneOrder) {
        std::vector<PaneRow> rows;
        for (int group = first; group <= last; ++group)
            std::ranges::move(paddedRows(which, group, heights[std::size_t(group - first)]), std::back_inserter(rows));
        if (which == Pane::Settled)
            pane(which)->replaceRows(settledFrom, settledCount, rows);
        else
            pane(which)->replaceRows(from, count, rows);
    }
    for (int group = first; group <= last; ++group)
        rowStart[std::size_t(group) + 1] = rowStart[std::size_t(group)] + heights[std::size_t(group - first)];
    for (std::size_t i = std::size_t(last) + 2; i < rowStart.size(); ++i)
        rowStart[i] += total - count;
    showing = false;
    if ((total != count || total != settledCount) && !manyAtOnce)
        updateVisibility();
}

void ConflictEditor::Private::layOutAgain(const std::vector<int>& groups)
{
    if (groups.empty())
        return;
    // The cursor keeps its line of its group, and that line its height on the screen.
    TextPane* middle = pane(Pane::Settled);
    const QTextCursor cursor = middle->textCursor();
    const int row = cursor.blockNumber(), column = cursor.positionInBlock();
    const int group =
        std::clamp(int(std::ranges::upper_bound(rowStart, row) - rowStart.begin()) - 1, 0, model.groupCount() - 1);
    const int line = row - rowStart[std::size_t(group)], above = middle->verticalScrollBar()->value();
    const int lineAbove = cursor.block().firstLineNumber();
    {
        const QScopedValueRollback later(manyAtOnce, true);
        for (const int one : groups)
            layOutGroup(one);
    }
    updateVisibility();
    if (q->isWrapped())
        updateFrames(); // counts the lines that rows take by now
    const int now = rowStart[std::size_t(group)] + std::min(line, std::max(0, rowsOf(group) - 1));
    const QScopedValueRollback quiet(showing, true);
    QTextCursor moved = middle->textCursor();
    const QTextBlock block = middle->document()->findBlockByNumber(now);
    moved.setPosition(block.position() + std::min(column, std::max(0, block.length() - 1)));
    middle->setTextCursor(moved);
    const int lines = q->isWrapped() ? block.firstLineNumber() - lineAbove : now - row;
    if (lines == 0)
        return;
    if (onlyAround)
        middle->scrollToRow(now); // what is hidden counts in rows and not on the screen
    else
        middle->verticalScrollBar()->setValue(above + lines);
}

void ConflictEditor::Private::takeRows(Pane side, int first, int last)
{
    q->flush(); // what was typed is a step of its own
    int hunk = -1;
    QStringList lines;
    for (int row = first; row <= std::min(last, rowStart.back() - 1); ++row) {
        const PaneRow at = pane(side)->row(row);
        const int of = model.group(at.group).hunk;
        // Of one hunk at a time: what lies between two is there already.
        if (at.filler || at.kind == ChangedLine::Removed || of < 0 || (hunk >= 0 && of != hunk))
            continue;
        hunk = of;
        lines << at.text;
    }
    if (hunk < 0)
        return;
    const int group = model.groupOfHunk(hunk);
    model.setSettled(group, model.settled(group) + lines);
    // All of a side, line by line, is that side.
    const ConflictHunk& texts = model.text().hunks[std::size_t(hunk)];
    model.decide(hunk, decisionGiving(texts.newBaseText, texts.commitText, model.decision(hunk).text, texts.lineEnd));
    layOutGroup(group);
    setCurrent(hunk);
    updateFrames();
    tellNow();
}

void ConflictEditor::Private::updateFrames()
{
    // A colour that stands out from its ground takes some finding: once for all hunks.
    struct Look {
        QColor line, fill;
    };
    const QPalette colours = q->palette();
    const Look newBase{theme::place(Place::Upstream, colours), theme::placeTint(Place::Upstream, colours)},
        commit{theme::place(Place::Fork, colours), theme::placeTint(Place::Fork, colours)},
        undecided{theme::warning(colours), theme::undecidedTint(colours)},
        decided{theme::success(colours), theme::successTint(colours)};
    std::array<std::vector<HunkFrame>, 3> frames;
    for (int hunk = 0; hunk < model.hunkCount(); ++hunk) {
        const int group = model.groupOfHunk(hunk);
        HunkFrame frame{hunk, rowStart[std::size_t(group)], rowsOf(group), newBase.line, newBase.fill, false, {}};
        frame.placeholder = tr("no lines here");
        frames[0].push_back(frame);
        frame.line = commit.line;
        frame.fill = commit.fill;
        frames[2].push_back(frame);
        const bool open = model.decision(hunk).choice == Choice::Undecided;
        frame.line = open ? undecided.line : decided.line;
        frame.fill = open ? undecided.fill : decided.fill;
        frame.dashed = open;
        frame.ghost = ghostOf(group);
        frame.placeholder = !open                   ? tr("No lines: they are left out")
                            : frame.ghost.isEmpty() ? tr("Undecided: choose below, or type here")
                            : hunk == currentHunk   ? tr("Undecided. Alt+5 would take this:")
                                                    : tr("Undecided. There is a proposal:");
        frames[1].push_back(frame);
    }
    for (const Pane which : paneOrder)
        pane(which)->setFrames(std::move(frames[std::size_t(which)]), currentHunk);
    countLines();
}

// These rows are new; those behind them have got other numbers by `more`.
void ConflictEditor::Private::leaveUncounted(int first, int end, int more)
{
    if (!q->isWrapped())
        return;
    if (!uncounted) {
        uncounted.emplace(pane(Pane::Settled)->layoutOfRows()->heights());
        uncountedFrom = uncountedTo = 0;
        // Typing has made other rows in the middle pane already.
        const TextPane* side = pane(Pane::NewBase);
        const QTextBlock top = side->document()->findBlockByLineNumber(side->verticalScrollBar()->value());
        topRow = top.blockNumber();
        topLine = side->verticalScrollBar()->value() - top.firstLineNumber();
    }
    if (end <= first)
        return;
    if (uncountedTo == 0)
        uncountedFrom = first;
    else if (uncountedTo > first)
        uncountedTo += more;
    uncountedFrom = std::min(uncountedFrom, first);
    uncountedTo = std::max(uncountedTo, end);
}

void ConflictEditor::Private::countLines()
{
    if (!uncounted)
        return;
    uncounted.reset();
    // With the rows at the edges: what is put before a row makes it a new one to the document.
    const int end = uncountedTo > 0 ? uncountedTo + 1 : 0;
    pane(Pane::Settled)->layoutOfRows()->heights().countAgain(std::max(0, uncountedFrom - 1), end);
    // While the rows were on their way the panes may have had less to scroll.
    TextPane* middle = pane(Pane::Settled);
    if (const QTextBlock top = middle->document()->findBlockByNumber(topRow); topRow >= 0 && top.isValid())
        middle->verticalScrollBar()->setValue(top.firstLineNumber() + std::min(topLine, top.lineCount() - 1));
    for (const Pane side : {Pane::NewBase, Pane::Commit})
        pane(side)->verticalScrollBar()->setValue(middle->verticalScrollBar()->value());
}

void ConflictEditor::Private::updateVisibility()
{
    std::vector<char> visible;
    if (onlyAround && model.hunkCount() > 0) {
        const int rows = rowStart.back();
        visible.assign(std::size_t(rows), 0);
        const auto show = [&](int first, int end) {
            std::fill(visible.begin() + std::max(0, first - aroundHunks),
                      visible.begin() + std::min(rows, end + aroundHunks), char(1));
        };
        for (int hunk = 0; hunk < model.hunkCount(); ++hunk) {
            const int group = model.groupOfHunk(hunk);
            show(rowStart[std::size_t(group)], rowStart[std::size_t(group) + 1]);
        }
        if (sought >= 0 && sought < rows)
            show(sought, sought + 1);
    }
    leaveUncounted(0, 0, 0);
    for (PaneCard* card : cards)
        card->pane->setVisibleRows(visible);
}

void ConflictEditor::Private::reveal(int row)
{
    if (!onlyAround || pane(Pane::Settled)->document()->findBlockByNumber(row).isVisible())
        return;
    sought = row;
    updateVisibility();
    countLines();
}

// What was typed: finds the groups that it touched and gives their lines to the model.
void ConflictEditor::Private::takeEdit()
{
    if (changedFrom < 0 || showing)
        return;
    const QTextDocument* document = pane(Pane::Settled)->document();
    QTextBlock first = document->findBlock(changedFrom);
    const QTextBlock last = document->findBlock(std::min(changedTo, document->characterCount() - 1));
    changedFrom = changedTo = -1;
    while (first.isValid() && !TextPane::isTagged(first))
        first = first.previous();
    QTextBlock behind = last.next();
    while (behind.isValid() && !TextPane::isTagged(behind))
        behind = behind.next();
    int firstGroup = first.isValid() ? TextPane::rowOf(first).group : 0;
    // Deleting up to the very start of a row leaves the upper row's tag; the groups between them have lost their rows.
    if (first.isValid() && first.blockNumber() < rowStart[std::size_t(firstGroup)])
        firstGroup = std::max(0, int(std::ranges::upper_bound(rowStart, first.blockNumber()) - rowStart.begin()) - 1);
    const int lastGroup =
        std::max(firstGroup, behind.isValid() ? TextPane::rowOf(behind).group : model.groupCount() - 1);
    const int endRow = document->blockCount() - (rowStart.back() - rowStart[std::size_t(lastGroup) + 1]);
    readEdit(firstGroup, lastGroup, endRow);
}

void ConflictEditor::Private::readEdit(int firstGroup, int lastGroup, int endRow)
{
    TextPane* middle = pane(Pane::Settled);
    const QTextCursor cursor = middle->textCursor();
    const int startRow = rowStart[std::size_t(firstGroup)];
    std::vector<QStringList> lines(std::size_t(lastGroup - firstGroup) + 1);
    int group = firstGroup, cursorGroup = -1, cursorLine = 0;
    QTextBlock block = middle->document()->findBlockByNumber(startRow);
    for (int row = startRow; row < endRow && block.isValid(); ++row, block = block.next()) {
        const PaneRow tagged = TextPane::rowOf(block);
        if (TextPane::isTagged(block))
            group = std::clamp(tagged.group, group, lastGroup);
        QStringList& ofGroup = lines[std::size_t(group - firstGroup)];
        if (block == cursor.block()) {
            cursorGroup = group;
            cursorLine = int(ofGroup.size());
        }
        if (!tagged.filler || !tagged.text.isEmpty())
            ofGroup.append(tagged.text);
    }
    model.setSettled(firstGroup, lines);
    layOutGroups(firstGroup, lastGroup, startRow, endRow - startRow);
    updateFrames();
    if (cursorGroup >= 0) {
        const QTextBlock at = middle->document()->findBlockByNumber(rowStart[std::size_t(cursorGroup)] +
                                                                    std::min(cursorLine, rowsOf(cursorGroup) - 1));
        const int position = at.position() + std::min(cursor.positionInBlock(), at.length() - 1);
        if (!cursor.hasSelection() && position != middle->textCursor().position()) {
            QTextCursor moved = middle->textCursor();
            moved.setPosition(position);
            middle->setTextCursor(moved);
        }
    }
    tell.start();
}

} // namespace espalier
