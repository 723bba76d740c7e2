// SPDX-License-Identifier: MIT
#include "app/overwrite/overwrite_page_private.h"

#include "app/support/theme.h"

#include <QCheckBox>
#include <QPushButton>
#include <QSplitter>
#include <QVBoxLayout>

namespace espalier {

void OverwritePage::Private::build()
{
    auto* column = new QVBoxLayout(page);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(theme::gap(page));
    head = new PageHead(QString(), page);
    notice = new NoticeBar(page);
    above = new FittingArea(page);
    above->setAccessibleName(tr("What the push would replace"));
    bodyWidget = above->widget();
    body = new QVBoxLayout(bodyWidget);
    body->setContentsMargins(0, 0, 0, 0);
    body->setSpacing(theme::gap(page));
    column->addWidget(head);
    column->addWidget(notice);
    column->addWidget(above);
    buildPicture();
    column->addWidget(splitter, 1);
    buildActions(column);
}

void OverwritePage::Private::buildPicture()
{
    const int space = theme::gap(page);
    splitter = new QSplitter(page);
    splitter->setChildrenCollapsible(false);
    splitter->setHandleWidth(space);
    splitter->setObjectName(QStringLiteral("parts"));
    auto* card = new Card(splitter);
    auto* column = page::tableColumn(card);
    column->setSpacing(space / 2);
    summary = new PlainLabel(card);
    summary->setWrapped(true);
    picture = new PairPicture(card);
    picture->setMinimumHeight(page->fontMetrics().height() * 6);
    picture->setMinimumWidth(page->fontMetrics().averageCharWidth() * 40);
    bases = new BaseStrip(picture, card);
    page::addToTable(column, summary);
    // The lanes go on from one into the other.
    auto* lanes = new QVBoxLayout;
    lanes->setSpacing(0);
    lanes->addWidget(picture, 1000);
    lanes->addWidget(bases, 1);
    lanes->addStretch(0);
    column->addLayout(lanes, 1);
    detail = new CheckDetail(splitter);
    detail->setMinimumWidth(page->fontMetrics().averageCharWidth() * 34);
    detail->setMinimumHeight(page->fontMetrics().height() * 9);
    QObject::connect(picture, &PairPicture::chosen, page, [this](int branch, int row) { showChosen(branch, row); });
    QObject::connect(picture, &QTreeWidget::itemActivated, page, [this] {
        detail->choose(picture->currentRow() < 0 ? CheckDetail::Whole : CheckDetail::Commit);
        detail->focusShown();
    });
    QObject::connect(detail, &CheckDetail::commitRequested, page, &OverwritePage::commitChosen);
}

void OverwritePage::Private::buildActions(QVBoxLayout* column)
{
    auto* card = new Card(page);
    auto* inside = page::cardColumn(card);
    understood = new QCheckBox(card);
    auto* row = new QHBoxLayout;
    push = new QPushButton(card);
    push->setObjectName(QStringLiteral("push"));
    again = new QPushButton(tr("Check &again"), card);
    again->setObjectName(QStringLiteral("checkAgain"));
    close = new QPushButton(tr("&Close"), card);
    close->setObjectName(QStringLiteral("close"));
    row->addWidget(push);
    row->addWidget(again);
    row->addWidget(close);
    row->addStretch(1);
    inside->addWidget(understood);
    inside->addLayout(row);
    column->addWidget(card);
    QObject::connect(understood, &QCheckBox::toggled, page, [this] { update(); });
    QObject::connect(close, &QPushButton::clicked, page, &OverwritePage::closed);
    QObject::connect(again, &QPushButton::clicked, page, [this] { checkAgain(); });
    QObject::connect(push, &QPushButton::clicked, page, [this] { askForPush(); });
}

} // namespace espalier
