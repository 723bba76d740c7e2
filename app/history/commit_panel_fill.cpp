// SPDX-License-Identifier: MIT
//
// What is read of a commit, a comparison or the local changes goes into the panel.
#include "app/history/commit_panel_private.h"

#include "app/history/diff_view.h"
#include "app/history/words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QHBoxLayout>
#include <QPushButton>
#include <QScrollBar>
#include <QTreeWidget>

namespace espalier {

namespace {

QString kindWord(ChangeKind kind)
{
    switch (kind) {
    case ChangeKind::Added:
        return CommitPanel::tr("added");
    case ChangeKind::Deleted:
        return CommitPanel::tr("deleted");
    case ChangeKind::Renamed:
        return CommitPanel::tr("renamed");
    case ChangeKind::Copied:
        return CommitPanel::tr("copied");
    case ChangeKind::TypeChanged:
        return CommitPanel::tr("kind changed");
    case ChangeKind::Modified:
        break;
    }
    return CommitPanel::tr("changed");
}

QString kindWord(const LocalFile& file)
{
    switch (file.kind) {
    case LocalKind::Conflicted:
        return CommitPanel::tr("in conflict");
    case LocalKind::Staged:
        return file.change.kind == ChangeKind::Modified ? CommitPanel::tr("staged")
                                                        : CommitPanel::tr("staged, %1").arg(kindWord(file.change.kind));
    case LocalKind::Untracked:
        return CommitPanel::tr("untracked");
    case LocalKind::Changed:
        break;
    }
    return kindWord(file.change.kind);
}

QString personText(const Person& person)
{
    return QStringLiteral("%1 <%2>").arg(toText(person.name), toText(person.email));
}

QString momentText(const Person& person)
{
    return CommitPanel::tr("%1 (%2)").arg(absoluteTime(person.when, person.offsetMinutes), relativeTime(person.when));
}

} // namespace

void CommitPanel::Private::fill()
{
    copyId->setEnabled(!isLocal);
    fixedWidth->setEnabled(!isLocal);
    whitespace->setEnabled(true);
    patch->setEnabled(!asVersions && !isLocal);
    if (loaded.commit) {
        fillCommit(*loaded.commit);
    } else if (isLocal) {
        fillLocal();
    } else {
        subject->setText((asVersions ? tr("Version %1 after version %2") : tr("%1 against %2"))
                             .arg(QString::fromStdString(shown.brief()), QString::fromStdString(older.brief())));
        author->setText(asVersions ? VersionPairs::summary(loaded.versions)
                                   : tr("What changed between the two commits."));
        for (PlainLabel* each : {committer, presence, id})
            each->setText(QString());
        for (PlainLabel* each : {committer, presence, id})
            each->setVisible(false); // no room for what there is not
        message->clear();
        fillParents({older, shown});
    }
    if (asVersions) {
        total->setText(tr("Commits of both versions"));
        whitespace->setEnabled(false);
        versions->show(snapshot->path, loaded.versions);
        return;
    }
    fillFiles();
    Q_EMIT q->loaded();
}

void CommitPanel::Private::fillCommit(const Commit& commit)
{
    subject->setText(toText(commit.subject()));
    author->setText(tr("%1, %2").arg(personText(commit.author), momentText(commit.author)));
    const bool sameHand = commit.committer.name == commit.author.name && commit.committer.when == commit.author.when;
    committer->setText(sameHand
                           ? QString()
                           : tr("Committed by %1, %2").arg(personText(commit.committer), momentText(commit.committer)));
    committer->setVisible(!sameHand);
    presence->setVisible(true);
    id->setVisible(true);
    const Row row = snapshot ? snapshot->history.find(commit.id) : noRow;
    QString where = row == noRow ? tr("not in the picture") : presenceText(snapshot->placesOf(row));
    if (row != noRow)
        for (const QString& words : alterations(snapshot->history, row, true))
            where += QStringLiteral("  \u00b7  ") + words;
    if (commit.isSigned)
        where += QStringLiteral("  \u00b7  ") + tr("signed");
    presence->setText(where);
    id->setText(QString::fromStdString(commit.id.hex()));
    // The subject stands above already; trailers are the message's last lines.
    std::string body = commit.messageUtf8();
    const std::size_t end = body.find("\n\n");
    body = end == std::string::npos ? std::string() : body.substr(end + 2);
    constexpr std::size_t longest = 1 << 20;
    message->setPlainText(toLines(std::string_view(body).substr(0, longest)));
    fillParents(commit.parents);
}

void CommitPanel::Private::fillParents(const std::vector<Oid>& ids)
{
    while (QLayoutItem* item = parents->takeAt(0)) {
        delete item->widget();
        delete item;
    }
    if (ids.empty())
        return;
    parents->addWidget(new PlainLabel(!older.isZero()   ? tr("Go to")
                                      : ids.size() == 1 ? tr("Parent")
                                                        : tr("Parents"),
                                      q));
    constexpr std::size_t most = 8;
    for (std::size_t at = 0; at < std::min(ids.size(), most); ++at) {
        auto* button = new QPushButton(QString::fromStdString(ids[at].brief()), q);
        button->setFlat(true);
        button->setAccessibleName(tr("Go to %1").arg(button->text()));
        connect(button, &QPushButton::clicked, q, [this, parent = ids[at]] { Q_EMIT q->commitRequested(parent); });
        parents->addWidget(button);
    }
    if (ids.size() > most)
        parents->addWidget(new PlainLabel(tr("and %1 more").arg(ids.size() - most), q));
    parents->addStretch(1);
}

void CommitPanel::Private::fillLocal()
{
    const LocalChanges& counts = loaded.local->counts;
    subject->setText(tr("Local changes"));
    author->setText(counts.any() ? toText(counts.words()) : tr("Everything is as committed."));
    committer->setText(QString());
    id->setText(QString());
    committer->setVisible(false);
    id->setVisible(false);
    presence->setVisible(true);
    presence->setText(tr("not committed; in this clone's worktree only"));
    message->clear();
    fillParents({});
}

QTreeWidgetItem* CommitPanel::Private::itemFor(const FileChange& file, const QString& kind, std::size_t at) const
{
    auto* item = new QTreeWidgetItem;
    const QString path = toText(file.newPath.empty() ? file.oldPath : file.newPath);
    item->setText(0, file.kind == ChangeKind::Renamed || file.kind == ChangeKind::Copied
                         ? tr("%1 \u2192 %2").arg(toText(file.oldPath), path)
                         : path);
    item->setText(1, file.binary ? tr("binary") : kind);
    item->setText(2, file.binary ? QString() : QStringLiteral("+%1").arg(file.added));
    item->setText(3, file.binary ? QString() : QStringLiteral("\u2212%1").arg(file.deleted));
    theme::keepColour(files, item, 1, theme::quiet);
    theme::keepColour(files, item, 2, theme::success);
    theme::keepColour(files, item, 3, theme::danger);
    item->setTextAlignment(2, Qt::AlignRight | Qt::AlignVCenter);
    item->setTextAlignment(3, Qt::AlignRight | Qt::AlignVCenter);
    item->setData(0, Qt::UserRole, qulonglong(at));
    return item;
}

void CommitPanel::Private::fillFiles()
{
    // Of local changes the same are read again while they are looked at.
    const QTreeWidgetItem* before = loaded.local ? files->currentItem() : nullptr;
    const QString path = before ? before->text(0) : QString(), kind = before ? before->text(1) : QString();
    const QPoint scrolledTo(diff->horizontalScrollBar()->value(), diff->verticalScrollBar()->value());
    const QSignalBlocker quiet(files);
    QList<QTreeWidgetItem*> items;
    QString words;
    if (loaded.local) {
        for (std::size_t at = 0; at < loaded.local->files.size(); ++at)
            items << itemFor(loaded.local->files[at].change, kindWord(loaded.local->files[at]), at);
        words = toText(loaded.local->counts.words());
        if (loaded.local->truncated)
            words += tr("; only the first files are listed");
    } else {
        const Changes& changes = loaded.changes;
        for (std::size_t at = 0; at < changes.files.size(); ++at)
            items << itemFor(changes.files[at], kindWord(changes.files[at].kind), at);
        words = tr("%1, %2 added, %3 deleted")
                    .arg(QString::fromStdString(counted(changes.files.size(), "file", "files")),
                         QString::fromStdString(counted(changes.added, "line", "lines")))
                    .arg(changes.deleted);
        if (changes.truncated)
            words += tr("; only the first files are listed");
        if (loaded.commit && loaded.commit->parents.size() > 1)
            words += tr("; against the first parent");
    }
    total->setText(words);
    files->clear();
    files->addTopLevelItems(items);
    if (items.isEmpty()) {
        diff->showNote(loaded.local ? tr("Everything is as committed.") : tr("Nothing changed."));
        return;
    }
    const auto same = std::ranges::find_if(items, [&](const QTreeWidgetItem* item) {
        return !path.isEmpty() && item->text(0) == path && item->text(1) == kind;
    });
    QTreeWidgetItem* current = same == items.end() ? items[0] : *same;
    files->setCurrentItem(current);
    diff->show(*loaded.file(current->data(0, Qt::UserRole).toULongLong()));
    if (same != items.end()) {
        diff->horizontalScrollBar()->setValue(scrolledTo.x());
        diff->verticalScrollBar()->setValue(scrolledTo.y());
    }
}

} // namespace espalier
