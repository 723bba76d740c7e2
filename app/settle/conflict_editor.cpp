// SPDX-License-Identifier: MIT
#include "app/settle/conflict_editor.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/conflict_editor_private.h"
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

constexpr int tellAfter = 150; // milliseconds without a keystroke: what is typed in one go is one step of undo
constexpr int bigFile = 5000;  // rows from which only the surroundings of hunks are shown at first

} // namespace

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
    for (const Pane side : {Pane::NewBase, Pane::Commit})
        pane(side)->standBeside(*pane(Pane::Settled));
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
    for (const Pane side : {Pane::NewBase, Pane::Commit})
        pane(side)->setAccessibleDescription(tr("Return takes the line of the cursor, or what is selected"));
    pane(Pane::NewBase)->setAccessibleName(tr("New base has"));
    middle->setAccessibleName(tr("Settled text, editable"));
    pane(Pane::Commit)->setAccessibleName(tr("Your commit brings"));
    for (const Pane side : {Pane::NewBase, Pane::Commit}) {
        pane(side)->setGivesRows(true);
        pane(side)->setMarks([this, side](int hunk) -> const std::vector<RowMark>& { return marksOf(side, hunk); });
        QObject::connect(pane(side), &TextPane::rowsGiven, q,
                         [this, side](int first, int last) { takeRows(side, first, last); });
        QObject::connect(cards[std::size_t(side)]->change, &QToolButton::toggled, q,
                         [this, side](bool on) { q->setShownAsChange(side, on); });
    }
}

void ConflictEditor::Private::connectPane(Pane which)
{
    TextPane* self = pane(which);
    QObject::connect(self->verticalScrollBar(), &QScrollBar::valueChanged, q, [this, self](int value) {
        if (scrolling || (self->isWrapped() && !self->layoutOfRows()->heights().agree()))
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

void ConflictEditor::setConflict(const ConflictText& text, const FileSettlement& settlement,
                                 const std::vector<std::optional<HunkDecision>>& offers)
{
    const ConflictText& old = d->model.text();
    const bool same = d->model.groupCount() > 0 && old.key == text.key && old.newBase == text.newBase &&
                      old.commit == text.commit && old.between == text.between && old.cuts == text.cuts &&
                      old.hunks.size() == text.hunks.size();
    d->tell.stop(); // whoever shows another conflict has asked for flush() first
    if (same && d->model.settlement() == settlement)
        return;
    HunkModel next(text, settlement);
    if (!same || next.groupCount() != d->model.groupCount() || next.codec().isUtf8() != d->model.codec().isUtf8()) {
        d->model = std::move(next);
        d->sought = -1;
        if (!same)
            d->offers = offers;
        d->currentHunk = d->model.hunkCount() > 0 ? 0 : -1;
        const IndentHabit habit = indentHabit(text.newBase);
        pane(Pane::Settled)->setIndentHabit(habit.kind == IndentHabit::Unknown ? indentHabit(text.commit) : habit);
        d->showAll();
        d->onlyAround = d->onlyAround || d->rowStart.back() > bigFile;
        d->updateTitles();
        d->updateVisibility();
    } else {
        std::swap(d->model, next);
        const auto redecided = [&](int hunk) { return hunk >= 0 && d->model.decision(hunk) != next.decision(hunk); };
        std::vector<int> changed;
        for (int group = 0; group < d->model.groupCount(); ++group)
            if (d->model.settled(group) != next.settled(group) || redecided(d->model.group(group).hunk))
                changed.push_back(group);
        d->layOutAgain(changed);
    }
    d->updateFrames();
}

const HunkModel& ConflictEditor::model() const { return d->model; }
void ConflictEditor::setNewBaseWords(const QString& words) { d->cards[0]->subtitle->setText(words); }

int ConflictEditor::currentHunk() const { return d->currentHunk; }
TextPane* ConflictEditor::pane(Pane which) const { return d->pane(which); }
TextPane* ConflictEditor::Private::pane(Pane which) const { return cards[std::size_t(which)]->pane; }
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

void ConflictEditor::setOffers(const std::vector<std::optional<HunkDecision>>& offers)
{
    if (offers == d->offers)
        return;
    const auto before = std::exchange(d->offers, offers);
    const auto at = [](const auto& all, int hunk) {
        return std::size_t(hunk) < all.size() ? all[std::size_t(hunk)] : std::nullopt;
    };
    std::vector<int> changed;
    for (int hunk = 0; hunk < d->model.hunkCount(); ++hunk)
        if (at(before, hunk) != at(offers, hunk))
            changed.push_back(d->model.groupOfHunk(hunk));
    d->layOutAgain(changed);
    d->updateFrames();
}

void ConflictEditor::decide(const std::vector<std::pair<int, HunkDecision>>& decisions)
{
    flush(); // what was typed is a step of its own
    std::vector<int> changed;
    for (const auto& [hunk, decision] : decisions) {
        d->model.decide(hunk, decision);
        changed.push_back(d->model.groupOfHunk(hunk));
    }
    d->layOutAgain(changed);
    d->updateFrames();
    d->tellNow();
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

void ConflictEditor::showLine(Pane which, int line)
{
    TextPane* shown = pane(which);
    const int row = shown->rowOfNumber(line + 1);
    if (row < 0)
        return;
    d->reveal(row);
    QTextCursor cursor = shown->textCursor();
    cursor.setPosition(shown->document()->findBlockByNumber(row).position());
    shown->setTextCursor(cursor);
    shown->scrollToRow(row);
}

void ConflictEditor::select(Pane which, int position, int length)
{
    TextPane* shown = pane(which);
    d->reveal(shown->document()->findBlock(position).blockNumber());
    QTextCursor cursor = shown->textCursor();
    cursor.setPosition(position);
    cursor.setPosition(position + length, QTextCursor::KeepAnchor);
    shown->setTextCursor(cursor);
    shown->ensureCursorVisible();
}

void ConflictEditor::replace(const std::vector<int>& positions, int length, const QString& text)
{
    if (positions.empty())
        return;
    flush(); // what was typed is a step of its own
    QTextCursor cursor(pane(Pane::Settled)->document());
    cursor.beginEditBlock();
    for (std::size_t i = positions.size(); i-- > 0;) {
        cursor.setPosition(positions[i]);
        cursor.setPosition(positions[i] + length, QTextCursor::KeepAnchor);
        cursor.insertText(text);
    }
    cursor.endEditBlock();
    flush();
}

void ConflictEditor::answerEdit(int piece, bool putBack)
{
    flush();
    const ConflictText text = d->model.text();
    setConflict(text, withEditAnswered(d->model.settlement(), segmentsOf(text), std::size_t(piece), putBack));
    d->tellNow();
}

std::optional<std::pair<int, HunkLines>> ConflictEditor::lineToSplitAt() const
{
    Pane which = Pane::Settled;
    for (const Pane side : {Pane::NewBase, Pane::Commit})
        which = pane(side)->hasFocus() ? side : which;
    const int row = pane(which)->textCursor().blockNumber();
    const int group = pane(which)->row(row).group;
    const int hunk = group < d->model.groupCount() ? d->model.group(group).hunk : -1;
    if (hunk < 0)
        return std::nullopt;
    // Lines of the pane's own text above the cursor; in a change, those that are taken away are the ancestor's.
    const int first = d->rowStart[std::size_t(group)];
    const bool removed = pane(which)->row(row).kind == ChangedLine::Removed;
    int line = 0;
    for (int above = first; above < row; ++above) {
        const PaneRow at = pane(which)->row(above);
        line += removed ? at.kind != ChangedLine::Added : at.kind != ChangedLine::Removed && !at.filler;
    }
    const std::vector<Segment> segments = segmentsOf(d->model.text());
    const Segment& texts = segments[std::size_t(2 * hunk + 1)];
    const auto inSide = [&](Side side) {
        const int lines = countLines(side == Side::NewBase ? texts.newBase : texts.commit);
        return std::pair(hunk, linesAt(texts, side, std::min(line, lines)));
    };
    if (removed)
        return std::pair(hunk, linesAt(texts, Side::Ancestor, line));
    if (which != Pane::Settled)
        return inSide(which == Pane::NewBase ? Side::NewBase : Side::Commit);
    if (d->model.decision(hunk).choice != Choice::Undecided)
        return std::pair(hunk, linesAt(texts, d->model.settledBytes(hunk), line));
    // Nothing stands here yet: what stands beside the cursor in the new base, or below its last line in the commit.
    line = row - first;
    return inSide(countLines(texts.newBase) > line ? Side::NewBase : Side::Commit);
}

void ConflictEditor::setOnlyAroundHunks(bool only)
{
    d->onlyAround = only;
    d->updateVisibility();
    d->countLines();
    if (d->currentHunk >= 0)
        pane(Pane::Settled)->scrollToRow(d->rowStart[std::size_t(d->model.groupOfHunk(d->currentHunk))]);
}

void ConflictEditor::setShownAsChange(Pane side, bool change)
{
    if (side == Pane::Settled || d->asChange[std::size_t(side)] == change)
        return;
    d->asChange[std::size_t(side)] = change;
    d->cards[std::size_t(side)]->change->setChecked(change);
    d->marks[std::size_t(side)].clear();
    std::vector<int> groups;
    for (int hunk = 0; hunk < d->model.hunkCount(); ++hunk)
        groups.push_back(d->model.groupOfHunk(hunk));
    d->layOutAgain(groups);
    d->updateFrames();
}

bool ConflictEditor::isShownAsChange(Pane side) const { return d->asChange[std::size_t(side)]; }

bool ConflictEditor::isWrapped() const { return pane(Pane::Settled)->isWrapped(); }

void ConflictEditor::setWrapped(bool wrapped)
{
    pane(Pane::Settled)->setWrapped(wrapped);
    d->updateAcross();
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
