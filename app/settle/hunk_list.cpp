// SPDX-License-Identifier: MIT
#include "app/settle/hunk_list.h"

#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHeaderView>

namespace espalier {

QString choiceText(Choice choice)
{
    switch (choice) {
    case Choice::NewBase:
        return QObject::tr("new base");
    case Choice::YourCommit:
        return QObject::tr("your commit");
    case Choice::NewBaseFirst:
        return QObject::tr("new base, then yours");
    case Choice::YourCommitFirst:
        return QObject::tr("yours, then new base");
    case Choice::Typed:
        return QObject::tr("typed");
    default:
        return QObject::tr("undecided");
    }
}

HunkList::HunkList(QWidget* parent) : QTreeWidget(parent)
{
    setColumnCount(2);
    setHeaderLabels({tr("Hunks"), tr("Decision")});
    setAccessibleName(tr("Conflicting files and their hunks"));
    setFrameShape(QFrame::NoFrame);
    setRootIsDecorated(false);
    setItemsExpandable(false);
    setIndentation(theme::gap(this) * 2);
    header()->setSectionResizeMode(0, QHeaderView::Stretch);
    header()->setSectionResizeMode(1, QHeaderView::ResizeToContents);
    header()->setStretchLastSection(false);
    connect(this, &QTreeWidget::currentItemChanged, this, [this](QTreeWidgetItem* item) {
        if (!item)
            return;
        QTreeWidgetItem* file = item->parent() ? item->parent() : item;
        Q_EMIT chosen(indexOfTopLevelItem(file), item->parent() ? file->indexOfChild(item) : 0);
    });
}

void HunkList::setFiles(const std::vector<OneConflict>& files)
{
    const QSignalBlocker quiet(this);
    clear();
    for (const OneConflict& conflict : files) {
        const ConflictText& file = conflict.text;
        const QString path = toText(file.path);
        auto* item = new QTreeWidgetItem(this, {file.ownChange ? tr("%1: the merge's own change").arg(path) : path});
        item->setFont(0, theme::sized(font(), 1.0, true));
        item->setToolTip(0, toToolTip(toText(file.path)));
        item->setFirstColumnSpanned(true);
        if (file.wholePath)
            new QTreeWidgetItem(item, {tr("the whole file")});
        for (const ConflictHunk& hunk : file.hunks)
            new QTreeWidgetItem(item, {hunk.commit.count == 0 ? tr("at line %1").arg(hunk.commit.first + 1)
                                       : hunk.commit.count == 1
                                           ? tr("line %1").arg(hunk.commit.end())
                                           : tr("lines %1–%2").arg(hunk.commit.first + 1).arg(hunk.commit.end())});
    }
    expandAll();
}

void HunkList::setDecisions(int file, const OneConflict& conflict, const FileSettlement& settlement)
{
    QTreeWidgetItem* item = topLevelItem(file);
    if (!item)
        return;
    for (int i = 0; i < item->childCount() && i < int(settlement.hunks.size()); ++i) {
        const Choice choice = settlement.hunks[std::size_t(i)].choice;
        QTreeWidgetItem* child = item->child(i);
        const bool open = choice == Choice::Undecided;
        const bool again = open && std::size_t(i) < conflict.again.size() && conflict.again[std::size_t(i)];
        child->setText(1, again  ? tr("↻ look again")
                          : open ? QStringLiteral("○ ") + choiceText(choice)
                                 : QStringLiteral("● ") + choiceText(choice));
        child->setToolTip(
            1, conflict.text.wholePath && !open
                   ? toText(choice == Choice::NewBase ? conflict.text.keepNewBase : conflict.text.keepYourCommit)
                         .toHtmlEscaped()
                   : QString());
        theme::keepColour(this, child, 1, choice == Choice::Undecided ? theme::warning : theme::success);
        child->setFont(1, theme::sized(font(), 1.0, choice == Choice::Undecided));
    }
}

void HunkList::setCurrent(int file, int hunk)
{
    const QSignalBlocker quiet(this);
    if (QTreeWidgetItem* item = topLevelItem(file))
        setCurrentItem(hunk >= 0 && hunk < item->childCount() ? item->child(hunk) : item);
}

} // namespace espalier
