// SPDX-License-Identifier: MIT
//
// The three panes of one conflicting text: New base has, Settled text, Your commit brings. The middle one is edited; all
// scroll together. Knows neither repository nor flow: it is given values and answers with a settlement.
//
//     editor->setConflict(text, settlement);
//     connect(editor, &ConflictEditor::settled, [=](const FileSettlement& settlement) { … });
#pragma once

#include "app/settle/hunk_model.h"
#include "core/settle/split.h"

#include <QWidget>

#include <memory>

namespace espalier {

class TextPane;

class ConflictEditor : public QWidget {
    Q_OBJECT
  public:
    enum class Pane { NewBase, Settled, Commit };

    explicit ConflictEditor(QWidget* parent = nullptr);
    ~ConflictEditor() override;

    // Another conflict, or the same with other decisions (undo): then the view stays where it is, and so do its offers. `offers` as
    // in setOffers().
    void setConflict(const ConflictText& text, const FileSettlement& settlement,
                     const std::vector<std::optional<HunkDecision>>& offers = {});
    const HunkModel& model() const;

    int currentHunk() const; // -1 when there is none
    // Scrolls to it and puts the cursor into it.
    void setCurrentHunk(int hunk);
    void decide(Choice choice);
    void decide(const HunkDecision& decision);
    // Several at once, by hunk: one answer, and one step of undo.
    void decide(const std::vector<std::pair<int, HunkDecision>>& decisions);

    // What is offered for each hunk, shown beside the text in the place of those that are undecided, and no part of it. Gone
    // with another conflict.
    void setOffers(const std::vector<std::optional<HunkDecision>>& offers);

    // What the head of the left pane says of where its lines come from; empty again with another conflict.
    void setNewBaseWords(const QString& words);

    // Scrolls to a line of a pane's text, counted from 0, and puts the cursor there; the last one where there is no such line.
    void showLine(Pane which, int line);
    // Selects characters of a pane's document, within a row, and brings them into view.
    void select(Pane which, int position, int length);
    // In the settled text: so many characters at each of these places of its document, in order, become `text`. One step of undo.
    void replace(const std::vector<int>& positions, int length, const QString& text);
    // Scrolls to a stretch and puts the cursor into it.
    void showStretch(int stretch);
    // The answer to an edit that waits (see withEditAnswered).
    void answerEdit(int piece, bool putBack);

    // A hunk, and the lines of its three texts before the line of the cursor: of the pane that has the keyboard, else of the settled
    // text. Nothing where the cursor is in no hunk or there is nothing above it.
    std::optional<std::pair<int, HunkLines>> lineToSplitAt() const;

    // Hides what is far from a hunk.
    void setOnlyAroundHunks(bool only);
    bool onlyAroundHunks() const;
    // Shows a side (not the settled text) as its change against what was before both.
    void setShownAsChange(Pane side, bool change);
    bool isShownAsChange(Pane side) const;

    // Long lines go on in the next line, in all three panes; the rows stay side by side. Not at first.
    void setWrapped(bool wrapped);
    bool isWrapped() const;

    // The lines of a hunk, 1-based, in the settled text; for the list.
    std::pair<int, int> settledLines(int hunk) const;
    // What was typed and not yet told is told now.
    void flush();
    TextPane* pane(Pane which) const;

  Q_SIGNALS:
    void settled(const espalier::FileSettlement& settlement);
    void currentHunkChanged(int hunk);

  protected:
    void hideEvent(QHideEvent* event) override;
    void changeEvent(QEvent* event) override;

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier
