// SPDX-License-Identifier: MIT
#include "app/settle/before_both.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/text_pane.h"
#include "app/support/theme.h"

#include <QEvent>
#include <QToolButton>
#include <QVBoxLayout>

namespace espalier {

BeforeBoth::BeforeBoth(QWidget* parent) : QWidget(parent), m_handle(new QToolButton(this)), m_pane(new TextPane(this))
{
    auto* column = new QVBoxLayout(this);
    column->setContentsMargins(0, 0, 0, 0);
    m_handle->setText(tr("Be&fore both"));
    m_handle->setCheckable(true);
    m_handle->setChecked(true);
    m_handle->setArrowType(Qt::DownArrow);
    m_handle->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
    m_handle->setAutoRaise(true);
    m_handle->setProperty("plain", true);
    m_pane->setReadOnly(true);
    m_pane->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    m_pane->setTabChangesFocus(true);
    m_pane->setHorizontalScrollBarPolicy(Qt::ScrollBarAsNeeded);
    m_pane->setAccessibleName(tr("Before both: the common ancestor's lines"));
    m_pane->setFixedHeight(fontMetrics().height() * 5);
    column->addWidget(m_pane);
    connect(m_handle, &QToolButton::toggled, this, [this](bool open) {
        setVisible(open);
        m_handle->setArrowType(open ? Qt::DownArrow : Qt::RightArrow);
    });
}

bool BeforeBoth::isOpen() const { return m_handle->isChecked(); }
void BeforeBoth::setOpen(bool open) { m_handle->setChecked(open); }
void BeforeBoth::setWrapped(bool wrapped) { m_pane->setWrapped(wrapped); }

void BeforeBoth::showHunk(const ConflictText& text, const ConflictHunk& hunk, const QStringList& lines)
{
    std::vector<PaneRow> rows;
    for (const QString& line : lines)
        rows.push_back({line, 0, false, ChangedLine::Same});
    if (rows.empty())
        rows.push_back({QString(), 0, true, ChangedLine::Same});
    m_pane->setFirstNumber(hunk.ancestor.first + 1);
    m_pane->setMaximumNumber(hunk.ancestor.end());
    m_pane->setRows(rows);
    m_file = QString::fromUtf8(text.path);
    m_pane->highlighter()->setFile(m_file, palette());
    m_handle->setText(hunk.ancestor.count == 0 ? tr("Be&fore both: nothing stood here")
                      : hunk.ancestor.count == 1
                          ? tr("Be&fore both (the common ancestor, line %1)").arg(hunk.ancestor.end())
                          : tr("Be&fore both (the common ancestor, lines %1–%2)")
                                .arg(hunk.ancestor.first + 1)
                                .arg(hunk.ancestor.end()));
}

void BeforeBoth::changeEvent(QEvent* event)
{
    QWidget::changeEvent(event);
    if (event->type() == QEvent::PaletteChange)
        m_pane->highlighter()->setFile(m_file, palette());
}

} // namespace espalier
