// SPDX-License-Identifier: MIT
#include "app/settle/hunk_list.h"

#include "app/settle/offer_bar.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHeaderView>

#include <set>

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

constexpr int pieceRole = Qt::UserRole;    // index into FileSettlement::pieces; of another commit's row, of its hunk
constexpr int openRole = Qt::UserRole + 1; // whether the row waits for the user
constexpr int firstRemark = -2;            // the piece of a file's first remark; the second has one less

QTreeWidgetItem* addRow(QTreeWidgetItem* file, const QString& words, int piece)
{
    auto* row = new QTreeWidgetItem(file, {words});
    row->setData(0, pieceRole, piece);
    return row;
}

QString linesWords(const LineRange& lines)
{
    return lines.count == 0   ? HunkList::tr("at line %1").arg(lines.first + 1)
           : lines.count == 1 ? HunkList::tr("line %1").arg(lines.end())
                              : HunkList::tr("lines %1–%2").arg(lines.first + 1).arg(lines.end());
}

QString fileWords(const std::string& path, bool ownChange)
{
    return ownChange ? HunkList::tr("%1: the merge's own change").arg(toText(path)) : toText(path);
}

} // namespace

HunkList::HunkList(QWidget* parent) : QTreeWidget(parent)
{
    setColumnCount(2);
    setHeaderLabels({tr("Hunks"), tr("Decision")});
    setAccessibleName(tr("Commits with conflicts, their files and hunks"));
    setFrameShape(QFrame::NoFrame);
    setIndentation(theme::gap(this) * 3 / 2);
    header()->setSectionResizeMode(0, QHeaderView::Stretch);
    header()->setSectionResizeMode(1, QHeaderView::ResizeToContents);
    header()->setStretchLastSection(false);
    connect(this, &QTreeWidget::currentItemChanged, this, [this](QTreeWidgetItem* item) { choose(item); });
}

void HunkList::choose(QTreeWidgetItem* item)
{
    if (!item)
        return;
    int level = 0;
    QTreeWidgetItem* top = item;
    for (; top->parent(); top = top->parent())
        ++level;
    QTreeWidgetItem* file = level == 2 ? item->parent() : level == 1 ? item : nullptr;
    const CommitOutline& commit = m_commits[std::size_t(indexOfTopLevelItem(top))];
    if (commit.commit != m_shown) {
        const int index = file ? top->indexOfChild(file) : -1;
        Q_EMIT chosenElsewhere(commit.commit, index < 0 ? SettlementKey{} : commit.files[std::size_t(index)].key,
                               level == 2 ? item->data(0, pieceRole).toInt() : -1);
        return;
    }
    if (!file || (level == 1 && file->childCount() == 0))
        return;
    const int piece = (level == 2 ? item : file->child(0))->data(0, pieceRole).toInt();
    if (piece <= firstRemark)
        Q_EMIT remarkChosen(top->indexOfChild(file), firstRemark - piece);
    else
        Q_EMIT chosen({top->indexOfChild(file), piece});
}

QTreeWidgetItem* HunkList::commitItem(std::size_t commit) const
{
    const auto at = std::ranges::find(m_commits, commit, &CommitOutline::commit);
    return at == m_commits.end() ? nullptr : topLevelItem(int(at - m_commits.begin()));
}

QTreeWidgetItem* HunkList::fileItem(int file) const
{
    QTreeWidgetItem* commit = commitItem(m_shown);
    return commit ? commit->child(file) : nullptr;
}

int HunkList::fileCount() const
{
    const QTreeWidgetItem* commit = commitItem(m_shown);
    return commit ? commit->childCount() : 0;
}

void HunkList::setReplay(std::vector<CommitOutline> commits, std::size_t current)
{
    const QSignalBlocker quiet(this);
    const auto sameRows = [](const CommitOutline& a, const CommitOutline& b) {
        return a.id == b.id && a.commit == b.commit &&
               std::ranges::equal(a.files, b.files, [](const auto& x, const auto& y) {
                   return x.key == y.key && x.hunks.size() == y.hunks.size();
               });
    };
    const bool same = m_shown == current && std::ranges::equal(commits, m_commits, sameRows);
    if (!same) {
        // What the page knows of the shown commit stays until it says more; what was unfolded stays so.
        std::set<Oid> unfolded;
        QList<int> path; // to where the user is, below its commit
        Oid here;
        for (QTreeWidgetItem* item = currentItem(); item; item = item->parent()) {
            if (QTreeWidgetItem* parent = item->parent())
                path.prepend(parent->indexOfChild(item));
            else
                here = m_commits[std::size_t(indexOfTopLevelItem(item))].id;
        }
        for (std::size_t i = 0; i < m_commits.size(); ++i)
            if (topLevelItem(int(i))->isExpanded())
                unfolded.insert(m_commits[i].id);
        QTreeWidgetItem* before = m_shown == current ? commitItem(m_shown) : nullptr;
        const QList<QTreeWidgetItem*> kept = before ? before->takeChildren() : QList<QTreeWidgetItem*>();
        m_commits = std::move(commits);
        m_shown = current;
        clear();
        for (const CommitOutline& commit : m_commits) {
            auto* item = new QTreeWidgetItem(this);
            item->setFont(0, theme::sized(font(), 1.0, true));
            item->setToolTip(0, toToolTip(tr("%1 %2").arg(toText(commit.id.brief()), toText(commit.subject))));
            if (commit.commit != m_shown)
                addFiles(item, commit);
            else
                item->addChildren(kept);
            item->setExpanded(commit.commit == m_shown || unfolded.contains(commit.id));
        }
        if (QTreeWidgetItem* item = commitItem(m_shown))
            for (int i = 0; i < item->childCount(); ++i) {
                item->child(i)->setFirstColumnSpanned(true);
                item->child(i)->setExpanded(true);
            }
        else
            qDeleteAll(kept);
        if (const auto at = std::ranges::find(m_commits, here, &CommitOutline::id); at != m_commits.end()) {
            QTreeWidgetItem* item = topLevelItem(int(at - m_commits.begin()));
            for (const int row : path)
                if (QTreeWidgetItem* child = item->child(row))
                    item = child;
            setCurrentItem(item);
        }
    } else {
        m_commits = std::move(commits);
    }
    for (const CommitOutline& commit : m_commits)
        showCommit(commitItem(commit.commit), commit);
    filter();
}

void HunkList::addFiles(QTreeWidgetItem* item, const CommitOutline& commit)
{
    for (const FileOutline& file : commit.files) {
        auto* row = new QTreeWidgetItem(item, {fileWords(file.path, file.ownChange)});
        row->setToolTip(0, toToolTip(toText(file.path)));
        for (std::size_t i = 0; i < file.hunks.size(); ++i)
            addRow(row,
                   file.wholePath        ? tr("the whole file")
                   : file.hunks[i].lines ? linesWords(*file.hunks[i].lines)
                                         : tr("hunk %1").arg(i + 1),
                   int(i));
    }
}

void HunkList::showCommit(QTreeWidgetItem* item, const CommitOutline& commit)
{
    item->setText(0, tr("%1: %2").arg(commit.commit + 1).arg(toText(commit.subject)));
    const std::size_t open = commit.undecided(), remarks = commit.remarks();
    setState(item, open > 0 || remarks > 0,
             commit.again() > 0 ? QString()
             : open > 0         ? tr("%1 undecided").arg(open)
             : remarks > 0      ? tr("%1 to look at").arg(remarks)
                                : tr("all %1").arg(commit.questions()));
    if (commit.commit == m_shown)
        return;
    for (std::size_t i = 0; i < commit.files.size(); ++i) {
        const FileOutline& file = commit.files[i];
        QTreeWidgetItem* row = item->child(int(i));
        setState(row, file.undecided > 0 || !file.remarks.empty(),
                 file.again > 0          ? QString()
                 : file.undecided > 0    ? tr("%1 undecided").arg(file.undecided)
                 : !file.remarks.empty() ? tr("%1 to look at").arg(file.remarks.size())
                                         : tr("decided"));
        for (std::size_t k = 0; k < file.hunks.size(); ++k)
            if (const auto& choice = file.hunks[k].choice)
                setState(row->child(int(k)), *choice == Choice::Undecided, choiceText(*choice));
            else
                row->child(int(k))->setText(1, QString());
    }
}

void HunkList::setFiles(const std::vector<OneConflict>& files)
{
    QTreeWidgetItem* commit = commitItem(m_shown);
    if (!commit)
        return;
    const QSignalBlocker quiet(this);
    qDeleteAll(commit->takeChildren());
    for (const OneConflict& conflict : files) {
        const ConflictText& file = conflict.text;
        auto* item = new QTreeWidgetItem(commit, {fileWords(file.path, file.ownChange)});
        item->setFont(0, theme::sized(font(), 1.0, true));
        item->setToolTip(0, toToolTip(toText(file.path)));
        item->setFirstColumnSpanned(true);
        if (file.wholePath)
            addRow(item, tr("the whole file"), 0);
        else if (file.hunks.empty())
            setState(addRow(item, tr("nothing else differs"), -1), false, tr("for the whole file"));
        for (std::size_t i = 0; i < file.hunks.size(); ++i)
            addRow(item, linesWords(file.hunks[i].commit), int(2 * i + 1));
        item->setExpanded(true);
    }
    commit->setExpanded(true);
    filter();
}

void HunkList::setFilter(const QString& words, bool undecided)
{
    m_words = words;
    m_undecidedOnly = undecided;
    filter();
}

void HunkList::filter()
{
    const bool all = m_words.isEmpty() && !m_undecidedOnly;
    QTreeWidgetItem* here = currentItem();
    for (std::size_t i = 0; i < m_commits.size(); ++i) {
        const CommitOutline& commit = m_commits[i];
        QTreeWidgetItem* top = topLevelItem(int(i));
        const auto has = [&](const QString& text) { return text.contains(m_words, Qt::CaseInsensitive); };
        const bool named =
            has(toText(commit.subject)) || toText(commit.id.hex()).startsWith(m_words, Qt::CaseInsensitive);
        bool some = false;
        for (int k = 0; k < top->childCount(); ++k) {
            QTreeWidgetItem* file = top->child(k);
            bool open = false, holdsHere = file == here;
            for (int row = 0; row < file->childCount(); ++row) {
                QTreeWidgetItem* hunk = file->child(row);
                const bool isOpen = hunk->data(1, openRole).toBool();
                open = open || isOpen;
                holdsHere = holdsHere || hunk == here;
                hunk->setHidden(m_undecidedOnly && !isOpen && hunk != here);
            }
            open = open || file->data(1, openRole).toBool();
            const bool shown = (named || has(file->text(0))) && (!m_undecidedOnly || open);
            file->setHidden(!shown && !holdsHere);
            some = some || !file->isHidden();
        }
        const bool open = top->data(1, openRole).toBool();
        top->setHidden(!some && !(top->childCount() == 0 && named && (!m_undecidedOnly || open)) && top != here);
        if (!all && some)
            top->setExpanded(true); // what was looked for is in sight
    }
}

void HunkList::setDecisions(int file, const OneConflict& conflict, const FileSettlement& settlement,
                            const std::function<const HunkOffer*(int hunk)>& offerFor)
{
    QTreeWidgetItem* item = fileItem(file);
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
    row->setData(1, openRole, open);
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
        if (const int piece = file->child(i)->data(0, pieceRole).toInt(); piece > firstRemark)
            shown.push_back(piece);
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

void HunkList::setRemarks(int file, const std::vector<Remark>& remarks)
{
    QTreeWidgetItem* item = fileItem(file);
    if (!item)
        return;
    const QSignalBlocker quiet(this);
    QList<QTreeWidgetItem*> rows;
    for (int i = 0; i < item->childCount(); ++i)
        if (item->child(i)->data(0, pieceRole).toInt() <= firstRemark)
            rows.push_back(item->child(i));
    while (rows.size() > qsizetype(remarks.size()))
        delete rows.takeLast();
    for (std::size_t i = 0; i < remarks.size(); ++i) {
        const QString words = toText(remarks[i].words);
        QTreeWidgetItem* row = qsizetype(i) < rows.size() ? rows[qsizetype(i)] : addRow(item, {}, 0);
        row->setData(0, pieceRole, firstRemark - int(i));
        row->setText(0, tr("line %1").arg(remarks[i].line + 1));
        setState(row, true, tr("look at it"));
        for (const int column : {0, 1})
            row->setToolTip(column, toToolTip(words));
        row->setData(0, Qt::AccessibleTextRole, tr("line %1: %2").arg(remarks[i].line + 1).arg(words));
    }
}

void HunkList::setCurrent(const ConflictPlace& place)
{
    const QSignalBlocker quiet(this);
    QTreeWidgetItem* file = fileItem(place.file);
    for (int i = 0; file && i < file->childCount(); ++i)
        if (file->child(i)->data(0, pieceRole).toInt() == place.piece) {
            setCurrentItem(file->child(i));
            return;
        }
    if (file)
        setCurrentItem(file);
}

} // namespace espalier
