// SPDX-License-Identifier: MIT
//
// A conflict of a whole path: what it is about in plain words, and side by side what the new base and the user's commit
// have there. Nothing in it is edited. Private to app/settle.
//
//     view->setConflict(text);     // text.wholePath
#pragma once

#include "app/settle/conflict_editor.h"

#include <QImage>

namespace espalier {

class ImagePane;
class PaneCard;
class PlainLabel;

class WholePathView : public QWidget {
    Q_OBJECT
  public:
    explicit WholePathView(QWidget* parent = nullptr);

    void setConflict(const ConflictText& text);
    // NewBase or Commit.
    TextPane* pane(ConflictEditor::Pane side) const;
    // In its place where the side's file is an image.
    ImagePane* image(ConflictEditor::Pane side) const;

  protected:
    void changeEvent(QEvent* event) override;

  private:
    PaneCard* card(ConflictEditor::Pane side) const;
    void showSide(ConflictEditor::Pane which);
    void readImages();
    void showImage(ConflictEditor::Pane which, const QImage& image);
    void scaleImages();

    ConflictText m_text;
    PlainLabel* m_explanation;
    PaneCard* m_newBase;
    PaneCard* m_commit;
    ImagePane* m_newBaseImage;
    ImagePane* m_commitImage;
    unsigned m_reading = 0; // counts conflicts shown: images of an older one are dropped
};

} // namespace espalier
