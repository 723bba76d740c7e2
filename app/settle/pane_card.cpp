// SPDX-License-Identifier: MIT
#include "app/settle/pane_card.h"

#include "app/settle/text_pane.h"
#include "app/support/theme.h"

#include <QBoxLayout>
#include <QPainter>
#include <QToolButton>

namespace espalier {

PaneCard::PaneCard(ConflictEditor::Pane which, QWidget* parent)
    : Card(parent)
    , title(new PlainLabel(this))
    , subtitle(new PlainLabel(this))
    , pane(new TextPane(this))
    , change(new QToolButton(this))
    , m_which(which)
{
    auto* column = new QVBoxLayout(this);
    const int space = theme::gap(this);
    column->setContentsMargins(2, space, space / 2, space / 2);
    column->setSpacing(space / 4);
    auto* head = new QHBoxLayout;
    head->setContentsMargins(space * 3 / 2, space / 2, space, 0);
    head->addWidget(title, 1);
    // The settled text has no such button but the room for it, so that the lines of all three stand side by side.
    change->setText(ConflictEditor::tr("As a change"));
    change->setCheckable(true);
    change->setAutoRaise(true);
    change->setToolTip(
        ConflictEditor::tr("Shows this side's hunks as their change against what was before both (Alt+8: both sides)"));
    QSizePolicy policy = change->sizePolicy();
    policy.setRetainSizeWhenHidden(true);
    change->setSizePolicy(policy);
    change->setVisible(which != ConflictEditor::Pane::Settled);
    auto* below = new QHBoxLayout;
    below->setContentsMargins(space * 3 / 2, 0, space, space / 2);
    below->addWidget(subtitle, 1);
    below->addWidget(change); // beside the title it would cut it in a small window
    column->addLayout(head);
    column->addLayout(below);
    column->addWidget(pane, 1);
    pane->setReadOnly(which != ConflictEditor::Pane::Settled);
    if (pane->isReadOnly()) {
        pane->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
        pane->setTabChangesFocus(true);
    }
    if (which != ConflictEditor::Pane::Commit)
        pane->setVerticalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    pane->installEventFilter(this);
    dress();
}

QColor PaneCard::colour(const QPalette& on) const
{
    switch (m_which) {
    case ConflictEditor::Pane::NewBase:
        return theme::place(Place::Upstream, on);
    case ConflictEditor::Pane::Commit:
        return theme::place(Place::Fork, on);
    default:
        return theme::place(Place::Clone, on);
    }
}

void PaneCard::dress()
{
    theme::keepColour(title, QPalette::WindowText, [this](const QPalette& on) { return colour(on); });
    theme::keepColour(subtitle, QPalette::WindowText, theme::quiet);
    title->setFont(theme::sized(font(), 1.05, true));
    subtitle->setFont(theme::sized(font(), 0.9));
}

void PaneCard::paintEvent(QPaintEvent* event)
{
    Card::paintEvent(event);
    QPainter painter(this);
    painter.setRenderHint(QPainter::Antialiasing);
    painter.setClipRect(QRectF(0, 0, width(), 4));
    painter.setPen(Qt::NoPen);
    painter.setBrush(colour(palette()));
    const double radius = theme::gap(this);
    painter.drawRoundedRect(QRectF(rect()).adjusted(0.5, 0.5, -0.5, -0.5), radius, radius);
    if (!pane->hasFocus())
        return;
    painter.setClipping(false);
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(theme::focusRing(palette()), 2));
    painter.drawRoundedRect(QRectF(rect()).adjusted(1, 1, -1, -1), radius, radius);
}

// Which of the three panes has the keyboard is seen on its card.
bool PaneCard::eventFilter(QObject* watched, QEvent* event)
{
    if (event->type() == QEvent::FocusIn || event->type() == QEvent::FocusOut)
        update();
    return Card::eventFilter(watched, event);
}

} // namespace espalier
