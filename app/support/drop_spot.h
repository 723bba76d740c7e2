// SPDX-License-Identifier: MIT
//
// Lies over a part of the window that names a base, while something is being dragged: lights up, says what a drop there would
// do or why it cannot, and takes the drop. Hidden at all other times.
//
//     spot->offer(source, target, answerDrop(*snapshot, source, target));
//     connect(spot, &DropSpot::dropped, …);
//     spot->withdraw();
#pragma once

#include "app/support/drop_words.h"
#include "core/history/places.h"

#include <QWidget>

namespace espalier {

class DropSpot : public QWidget {
    Q_OBJECT
  public:
    // The colour is the place's; `parent` is what it lies on, and decides where it is (setGeometry).
    DropSpot(Place place, QWidget* parent);

    // Shows it. What cannot be done has no target but words that say why.
    void offer(const DragSource& source, const DropTarget& target, const DropAnswer& answer);
    void withdraw();
    QString words() const { return m_answer.words; }
    bool isAllowed() const { return m_answer.allowed; }

  Q_SIGNALS:
    // When the drag's own loop has ended.
    void dropped(const espalier::DragSource& what, const espalier::DropTarget& onto);

  protected:
    void paintEvent(QPaintEvent* event) override;
    void dragEnterEvent(QDragEnterEvent* event) override;
    void dragMoveEvent(QDragMoveEvent* event) override;
    void dragLeaveEvent(QDragLeaveEvent* event) override;
    void dropEvent(QDropEvent* event) override;

  private:
    Place m_place;
    DragSource m_source;
    DropTarget m_target;
    DropAnswer m_answer;
    bool m_hovered = false;
};

} // namespace espalier
