// SPDX-License-Identifier: MIT
#include "app/settle/hunk_list.h"

#include "app/settle/offer_bar.h"
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

namespace {

constexpr int pieceRole = Qt::UserRole; // index into FileSettlement::pieces

QTreeWidgetItem* addRow(QTreeWidgetItem* file, const QString& words, int piece)
{
    auto* row = new QTreeWidgetItem(file, {words});
    row->setData(0, pieceRole, piece);
    return row;
}

} // namespace

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
        if (!item->parent())
            item = item->child(0);
        if (item)
            Q_EMIT chosen({indexOfTopLevelItem(file), item->data(0, pieceRole).toInt()});
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
            addRow(item, tr("the whole file"), 0);
        else if (file.hunks.empty())
            setState(addRow(item, tr("nothing else differs"), -1), false, tr("for the whole file"));
        for (std::size_t i = 0; i < file.hunks.size(); ++i) {
            const ConflictHunk& hunk = file.hunks[i];
            addRow(item,
                   hunk.commit.count == 0   ? tr("at line %1").arg(hunk.commit.first + 1)
                   : hunk.commit.count == 1 ? tr("line %1").arg(hunk.commit.end())
                                            : tr("lines %1–%2").arg(hunk.commit.first + 1).arg(hunk.commit.end()),
                   int(2 * i + 1));
        }
    }
    expandAll();
}

void HunkList::setDecisions(int file, const OneConflict& conflict, const FileSettlement& settlement,
                            const std::function<const HunkOffer*(int hunk)>& offerFor)
{
    QTreeWidgetItem* item = topLevelItem(file);
    if (!item)
        return;
    const QSignalBlocker quiet(this);
    const int hunks = int(settlement.hunkCount());
    for (int i = 0; i < item->childCount() && i < hunks; ++i) {
        const Choice choice = settlement.decision(std::size_t(i)).choice;
        const bool open = isOpen(settlement.pieces[settlement.pieceOfHunk(std::size_t(i))]);
        QTreeWidgetItem* child = item->child(i);
        const HunkOffer* offer = open && !conflict.text.wholePath ? offerFor(i) : nullptr;
        setState(child, open, open && conflict.again ? QString() : offer ? offerBrief(*offer) : choiceText(choice));
        child->setToolTip(
            1, offer ? toToolTip(offerWords(*offer))
               : conflict.text.wholePath && !open
                   ? toText(choice == Choice::NewBase ? conflict.text.keepNewBase : conflict.text.keepYourCommit)
                         .toHtmlEscaped()
                   : QString());
    }
    showWaiting(item, std::max(hunks, conflict.text.hunks.empty() ? 1 : 0), settlement);
}

// Empty words: to be looked at again.
void HunkList::setState(QTreeWidgetItem* row, bool open, const QString& words)
{
    row->setText(1, words.isEmpty() ? tr("↻ look again")
                    : open          ? QStringLiteral("○ ") + words
                                    : QStringLiteral("● ") + words);
    theme::keepColour(this, row, 1, open ? theme::warning : theme::success);
    row->setFont(1, theme::sized(font(), 1.0, open));
}

void HunkList::showWaiting(QTreeWidgetItem* file, int hunks, const FileSettlement& settlement)
{
    std::vector<int> waiting;
    for (std::size_t i = 0; i < settlement.pieces.size(); ++i)
        if (std::holds_alternative<SettledStretch>(settlement.pieces[i]) && isOpen(settlement.pieces[i]))
            waiting.push_back(int(i));
    std::vector<int> shown;
    for (int i = hunks; i < file->childCount(); ++i)
        shown.push_back(file->child(i)->data(0, pieceRole).toInt());
    if (shown == waiting)
        return;
    while (file->childCount() > hunks)
        delete file->takeChild(hunks);
    for (const int piece : waiting)
        setState(addRow(file,
                        piece == 0 ? tr("your edit above the hunks") : tr("your edit below hunk %1").arg(piece / 2),
                        piece),
                 true, {});
}

void HunkList::setCurrent(const ConflictPlace& place)
{
    const QSignalBlocker quiet(this);
    QTreeWidgetItem* file = topLevelItem(place.file);
    for (int i = 0; file && i < file->childCount(); ++i)
        if (file->child(i)->data(0, pieceRole).toInt() == place.piece) {
            setCurrentItem(file->child(i));
            return;
        }
    if (file)
        setCurrentItem(file);
}

} // namespace espalier
