// SPDX-License-Identifier: MIT
#include "app/drift/drift_list.h"

#include "app/drift/drift_model.h"
#include "app/support/drop_words.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QDrag>
#include <QDragMoveEvent>
#include <QMimeData>
#include <QPointer>

namespace espalier {

DriftList::DriftList(DriftModel* model, QWidget* parent)
    : QListView(parent), m_drift(model), m_says(new PlainLabel(viewport()))
{
    setModel(model);
    m_says->setAutoFillBackground(true);
    m_says->setAttribute(Qt::WA_TransparentForMouseEvents);
    m_says->setElideMode(Qt::ElideMiddle);
    m_says->setContentsMargins(theme::gap(this), 2, theme::gap(this), 2);
    m_says->hide();
}

QString DriftList::dropWords() const { return m_says->isHidden() ? QString() : m_says->fullText(); }

void DriftList::startDrag(Qt::DropActions actions)
{
    const DragSource source = m_drift->sourceOf(currentIndex().row());
    if (source.label.isEmpty())
        return;
    auto* drag = new QDrag(this);
    drag->setMimeData(encodeDrag(source).release());
    const QPointer<DriftList> self(this);
    Q_EMIT dragBegan(source);
    const Qt::DropAction done = drag->exec(actions | Qt::MoveAction, Qt::LinkAction);
    if (!self)
        return;
    m_says->hide();
    setState(NoState);
    viewport()->update();
    Q_EMIT dragEnded(done != Qt::IgnoreAction);
}

void DriftList::sayAt(const QModelIndex& index, const DragSource& source)
{
    const DropTarget target = index.isValid() ? m_drift->targetOf(index.row()) : DropTarget{};
    if (target.commit.isZero()) {
        m_says->hide();
        return;
    }
    const DropAnswer answer = m_drift->answer(source, target);
    m_says->setText(answer.words);
    QPalette colours = palette();
    colours.setColor(QPalette::Window,
                     answer.allowed ? theme::placeTint(Place::Clone, palette()) : theme::card(palette()));
    colours.setColor(QPalette::WindowText, answer.allowed ? palette().color(QPalette::Text) : theme::quiet(palette()));
    m_says->setPalette(colours);
    // Below the row that is aimed at, or above it where there is no room.
    const QRect row = visualRect(index);
    const int height = m_says->sizeHint().height();
    const int top = row.bottom() + height < viewport()->height() ? row.bottom() + 1 : row.top() - height;
    m_says->setGeometry(0, top, viewport()->width(), height);
    m_says->show();
    m_says->raise();
}

// Wherever it enters, and with whatever action its source prefers: Qt would send nothing more of a drag that came in over a
// row which takes none.
void DriftList::dragEnterEvent(QDragEnterEvent* event)
{
    QListView::dragEnterEvent(event);
    if (!decodeDrag(event->mimeData()))
        return;
    setState(DraggingState);
    event->acceptProposedAction();
}

void DriftList::dragMoveEvent(QDragMoveEvent* event)
{
    QListView::dragMoveEvent(event);
    const auto source = decodeDrag(event->mimeData());
    if (!source)
        return;
    const QModelIndex index = indexAt(event->position().toPoint());
    sayAt(index, *source);
    // Anywhere on a row is on that row: there is nothing between two.
    const DropTarget target = index.isValid() ? m_drift->targetOf(index.row()) : DropTarget{};
    if (!target.commit.isZero() && m_drift->answer(*source, target).allowed)
        event->acceptProposedAction();
    else
        event->ignore();
}

void DriftList::dragLeaveEvent(QDragLeaveEvent* event)
{
    m_says->hide();
    QListView::dragLeaveEvent(event);
    viewport()->update();
}

void DriftList::dropEvent(QDropEvent* event)
{
    m_says->hide();
    const auto source = decodeDrag(event->mimeData());
    const QModelIndex index = indexAt(event->position().toPoint());
    const DropTarget target = index.isValid() ? m_drift->targetOf(index.row()) : DropTarget{};
    stopAutoScroll();
    setState(NoState);
    viewport()->update();
    if (!source || target.commit.isZero() || !m_drift->answer(*source, target).allowed)
        return;
    event->acceptProposedAction();
    // The drag's own loop must have ended before a page opens.
    QMetaObject::invokeMethod(
        m_drift, [model = m_drift, source = *source, target] { Q_EMIT model->dropped(source, target); },
        Qt::QueuedConnection);
}

} // namespace espalier
