// SPDX-License-Identifier: MIT
#include "app/settle/conflict_editor.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/pane_card.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QBoxLayout>
#include <QEvent>
#include <QScrollBar>
#include <QTextBlock>
#include <QTimer>
#include <QToolButton>

#include <algorithm>
#include <array>

namespace espalier {

namespace {

constexpr int aroundHunks = 6; // rows
constexpr int tellAfter = 150; // milliseconds without a keystroke: what is typed in one go is one step of undo
constexpr int bigFile = 5000;  // rows from which only the surroundings of hunks are shown at first
constexpr std::array paneOrder{ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled,
                               ConflictEditor::Pane::Commit};

} // namespace

struct ConflictEditor::Private {
    explicit Private(ConflictEditor* editor) : q(editor) {}

    ConflictEditor* q;
    std::array<PaneCard*, 3> cards{};
    QScrollBar* across = nullptr;
    HunkModel model;
    std::vector<int> rowStart{0};
    std::array<bool, 3> asChange{};
    int currentHunk = -1;
    bool onlyAround = false;
    bool scrolling = false;
    bool showing = false; // the panes change by setConflict or a decision
    QTimer tell;
    int changedFrom = -1, changedTo = -1;

    TextPane* pane(Pane which) const { return cards[std::size_t(which)]->pane; }

    void build();
    void connectPane(Pane which);
    void updateAcross();
    void updateTitles();
    int rowsOf(int group) const { return rowStart[std::size_t(group) + 1] - rowStart[std::size_t(group)]; }
    std::vector<PaneRow> sideRows(Pane side, int group) const;
    std::vector<PaneRow> linesOf(Pane which, int group) const;
    std::vector<PaneRow> paddedRows(Pane which, int group, int height) const;
    void showAll();
    void layOutGroups(int first, int last, int settledFrom, int settledCount);
    void layOutGroup(int group) { layOutGroups(group, group, rowStart[std::size_t(group)], rowsOf(group)); }
    void updateFrames();
    void updateVisibility();
    void takeEdit();
    void readEdit(int firstGroup, int lastGroup, int endRow);
    void followCursor(Pane which);
    void setCurrent(int hunk);
    void tellNow();
};

ConflictEditor::ConflictEditor(QWidget* parent) : QWidget(parent), d(std::make_unique<Private>(this)) { d->build(); }

ConflictEditor::~ConflictEditor() = default;

void ConflictEditor::Private::build()
{
    auto* grid = new QVBoxLayout(q);
    grid->setContentsMargins(0, 0, 0, 0);
    grid->setSpacing(0);
    auto* row = new QHBoxLayout;
    row->setSpacing(theme::gap(q));
    for (const Pane which : paneOrder) {
        auto* card = new PaneCard(which, q);
        cards[std::size_t(which)] = card;
        row->addWidget(card, 1);
    }
    grid->addLayout(row, 1);
    across = new QScrollBar(Qt::Horizontal, q);
    across->hide();
    grid->addWidget(across);
    for (const Pane which : paneOrder)
        connectPane(which);
    QObject::connect(across, &QScrollBar::valueChanged, q, [this](int value) {
        for (PaneCard* card : cards)
            card->pane->horizontalScrollBar()->setValue(value);
    });
    TextPane* middle = pane(Pane::Settled);
    QObject::connect(middle->document(), &QTextDocument::contentsChange, q, [this, middle](int at, int, int added) {
        if (showing || middle->isReplacing() || middle->highlighter()->isFormatting())
            return;
        changedFrom = changedFrom < 0 ? at : std::min(changedFrom, at);
        changedTo = std::max(changedTo, at + added);
    });
    QObject::connect(middle, &QPlainTextEdit::textChanged, q, [this] { takeEdit(); });
    tell.setSingleShot(true);
    tell.setInterval(tellAfter);
    QObject::connect(&tell, &QTimer::timeout, q, [this] { tellNow(); });
    pane(Pane::NewBase)->setAccessibleName(tr("New base has"));
    middle->setAccessibleName(tr("Settled text, editable"));
    pane(Pane::Commit)->setAccessibleName(tr("Your commit brings"));
    for (const Pane side : {Pane::NewBase, Pane::Commit})
        QObject::connect(cards[std::size_t(side)]->change, &QToolButton::toggled, q,
                         [this, side](bool on) { q->setShownAsChange(side, on); });
}

void ConflictEditor::Private::connectPane(Pane which)
{
    TextPane* self = pane(which);
    QObject::connect(self->verticalScrollBar(), &QScrollBar::valueChanged, q, [this, self](int value) {
        if (scrolling)
            return;
        scrolling = true;
        for (PaneCard* card : cards)
            if (card->pane != self)
                card->pane->verticalScrollBar()->setValue(value);
        scrolling = false;
    });
    QObject::connect(self->horizontalScrollBar(), &QScrollBar::rangeChanged, q, [this] { updateAcross(); });
    QObject::connect(self->horizontalScrollBar(), &QScrollBar::valueChanged, across, &QScrollBar::setValue);
    QObject::connect(self, &QPlainTextEdit::cursorPositionChanged, q, [this, which] { followCursor(which); });
}

void ConflictEditor::Private::updateAcross()
{
    int furthest = 0;
    for (PaneCard* card : cards)
        furthest = std::max(furthest, card->pane->horizontalScrollBar()->maximum());
    const QScrollBar* model_ = pane(Pane::Settled)->horizontalScrollBar();
    across->setRange(0, furthest);
    across->setPageStep(model_->pageStep());
    across->setSingleStep(model_->singleStep());
    across->setVisible(furthest > 0);
}

void ConflictEditor::Private::updateTitles()
{
    const ConflictText& text = model.text();
    cards[0]->title->setText(tr("New base has"));
    cards[1]->title->setText(tr("Settled text"));
    cards[2]->title->setText(tr("Your commit brings"));
    const auto named = [](const Oid& id, const std::string& subject) {
        return id.isZero() ? QString() : QStringLiteral("%1 %2").arg(toText(id.brief()), toText(subject));
    };
    cards[0]->subtitle->setText(QString());
    cards[1]->subtitle->setText(tr("what the rewritten commit will contain"));
    cards[2]->subtitle->setText(named(text.yourCommit, text.yourSubject));
}

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

void ConflictEditor::Private::showAll()
{
    std::array<std::vector<PaneRow>, 3> all;
    rowStart.assign(1, 0);
    for (int group = 0; group < model.groupCount(); ++group) {
        std::size_t height = 1;
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
    showing = true;
    const QString file = QString::fromUtf8(model.text().path);
    for (const Pane which : paneOrder) {
        TextPane* shown = pane(which);
        shown->setRows(all[std::size_t(which)]);
        shown->setMaximumNumber(rowStart.back());
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
        std::size_t height = 1;
        for (const Pane which : paneOrder)
            height = std::max(height, linesOf(which, group).size());
        heights.push_back(int(height));
        total += int(height);
    }
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
    if (total != count || total != settledCount)
        updateVisibility();
}

void ConflictEditor::Private::updateFrames()
{
    const QPalette colours = q->palette();
    std::array<std::vector<HunkFrame>, 3> frames;
    for (int hunk = 0; hunk < model.hunkCount(); ++hunk) {
        const int group = model.groupOfHunk(hunk);
        HunkFrame frame{hunk, rowStart[std::size_t(group)], rowsOf(group), {}, {}, false, {}};
        frame.line = theme::place(Place::Upstream, colours);
        frame.fill = theme::placeTint(Place::Upstream, colours);
        frame.placeholder = tr("no lines here");
        frames[0].push_back(frame);
        frame.line = theme::place(Place::Fork, colours);
        frame.fill = theme::placeTint(Place::Fork, colours);
        frames[2].push_back(frame);
        const bool open = model.decision(hunk).choice == Choice::Undecided;
        frame.line = open ? theme::warning(colours) : theme::success(colours);
        frame.fill = open ? theme::undecidedTint(colours) : theme::successTint(colours);
        frame.dashed = open;
        frame.placeholder = open ? tr("Undecided: choose below, or type here") : tr("No lines: they are left out");
        frames[1].push_back(frame);
    }
    for (const Pane which : paneOrder)
        pane(which)->setFrames(std::move(frames[std::size_t(which)]), currentHunk);
}

void ConflictEditor::Private::updateVisibility()
{
    std::vector<char> visible;
    if (onlyAround && model.hunkCount() > 0) {
        const int rows = rowStart.back();
        visible.assign(std::size_t(rows), 0);
        for (int hunk = 0; hunk < model.hunkCount(); ++hunk) {
            const int group = model.groupOfHunk(hunk);
            const int from = std::max(0, rowStart[std::size_t(group)] - aroundHunks);
            const int to = std::min(rows, rowStart[std::size_t(group) + 1] + aroundHunks);
            std::fill(visible.begin() + from, visible.begin() + to, char(1));
        }
    }
    for (PaneCard* card : cards)
        card->pane->setVisibleRows(visible);
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
    for (int i = firstGroup; i <= lastGroup; ++i)
        model.setSettled(i, lines[std::size_t(i - firstGroup)]);
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

void ConflictEditor::Private::followCursor(Pane which)
{
    if (showing || model.groupCount() == 0)
        return;
    const TextPane* self = pane(which);
    const PaneRow row = TextPane::rowOf(self->textCursor().block());
    if (self->hasFocus() && row.group < model.groupCount() && model.group(row.group).hunk >= 0)
        setCurrent(model.group(row.group).hunk);
}

void ConflictEditor::Private::setCurrent(int hunk)
{
    if (hunk == currentHunk)
        return;
    currentHunk = hunk;
    updateFrames();
    Q_EMIT q->currentHunkChanged(hunk);
}

void ConflictEditor::Private::tellNow()
{
    tell.stop();
    Q_EMIT q->settled(model.settlement());
}

void ConflictEditor::setConflict(const ConflictText& text, const FileSettlement& settlement)
{
    const ConflictText& old = d->model.text();
    const bool same = d->model.groupCount() > 0 && old.key == text.key && old.newBase == text.newBase &&
                      old.commit == text.commit && old.between == text.between && old.hunks.size() == text.hunks.size();
    d->tell.stop(); // whoever shows another conflict has asked for flush() first
    if (same && d->model.settlement() == settlement)
        return;
    HunkModel next(text, settlement);
    if (!same || next.groupCount() != d->model.groupCount() || next.codec().isUtf8() != d->model.codec().isUtf8()) {
        d->model = std::move(next);
        d->currentHunk = d->model.hunkCount() > 0 ? 0 : -1;
        d->showAll();
        d->onlyAround = d->onlyAround || d->rowStart.back() > bigFile;
        d->updateTitles();
        d->updateVisibility();
    } else {
        std::swap(d->model, next);
        for (int group = 0; group < d->model.groupCount(); ++group)
            if (d->model.settled(group) != next.settled(group))
                d->layOutGroup(group);
    }
    d->updateFrames();
}

const HunkModel& ConflictEditor::model() const { return d->model; }
void ConflictEditor::setNewBaseWords(const QString& words) { d->cards[0]->subtitle->setText(words); }

int ConflictEditor::currentHunk() const { return d->currentHunk; }
TextPane* ConflictEditor::pane(Pane which) const { return d->pane(which); }
bool ConflictEditor::onlyAroundHunks() const { return d->onlyAround; }

void ConflictEditor::setCurrentHunk(int hunk)
{
    if (hunk < 0 || hunk >= d->model.hunkCount())
        return;
    const int row = d->rowStart[std::size_t(d->model.groupOfHunk(hunk))];
    TextPane* middle = pane(Pane::Settled);
    QTextCursor cursor = middle->textCursor();
    cursor.setPosition(middle->document()->findBlockByNumber(row).position());
    middle->setTextCursor(cursor);
    middle->scrollToRow(row);
    d->setCurrent(hunk);
}

void ConflictEditor::decide(Choice choice) { decide(HunkDecision{choice, {}}); }

void ConflictEditor::decide(const HunkDecision& decision)
{
    if (d->currentHunk < 0)
        return;
    d->model.decide(d->currentHunk, decision);
    d->layOutGroup(d->model.groupOfHunk(d->currentHunk));
    d->updateFrames();
    d->tellNow();
}

void ConflictEditor::showStretch(int stretch)
{
    if (d->model.groupCount() == 0)
        return;
    const int row = d->rowStart[std::size_t(d->model.groupOfStretch(stretch))];
    TextPane* middle = pane(Pane::Settled);
    QTextCursor cursor = middle->textCursor();
    cursor.setPosition(middle->document()->findBlockByNumber(row).position());
    middle->setTextCursor(cursor);
    middle->scrollToRow(row);
}

void ConflictEditor::answerEdit(int piece, bool putBack)
{
    flush();
    const ConflictText text = d->model.text();
    setConflict(text, withEditAnswered(d->model.settlement(), segmentsOf(text), std::size_t(piece), putBack));
    d->tellNow();
}

void ConflictEditor::setOnlyAroundHunks(bool only)
{
    d->onlyAround = only;
    d->updateVisibility();
    if (d->currentHunk >= 0)
        pane(Pane::Settled)->scrollToRow(d->rowStart[std::size_t(d->model.groupOfHunk(d->currentHunk))]);
}

void ConflictEditor::setShownAsChange(Pane side, bool change)
{
    if (side == Pane::Settled || d->asChange[std::size_t(side)] == change)
        return;
    d->asChange[std::size_t(side)] = change;
    d->cards[std::size_t(side)]->change->setChecked(change);
    for (int hunk = 0; hunk < d->model.hunkCount(); ++hunk)
        d->layOutGroup(d->model.groupOfHunk(hunk));
    d->updateFrames();
}

std::pair<int, int> ConflictEditor::settledLines(int hunk) const
{
    int before = 0;
    const int group = d->model.groupOfHunk(hunk);
    for (int i = 0; i < group; ++i)
        before += int(d->model.settled(i).size());
    return {before + 1, before + int(d->model.settled(group).size())};
}

void ConflictEditor::flush()
{
    if (d->tell.isActive())
        d->tellNow();
}

// What hides it takes it out of the user's hands: the page is left, or the window goes.
void ConflictEditor::hideEvent(QHideEvent* event)
{
    flush();
    QWidget::hideEvent(event);
}

void ConflictEditor::changeEvent(QEvent* event)
{
    QWidget::changeEvent(event);
    if (event->type() != QEvent::PaletteChange && event->type() != QEvent::FontChange)
        return;
    const QString file = QString::fromUtf8(d->model.text().path);
    for (PaneCard* card : d->cards) {
        card->dress();
        card->pane->highlighter()->setFile(file, palette());
    }
    d->updateFrames();
}

} // namespace espalier
