// SPDX-License-Identifier: MIT
#include "app/history/commit_panel.h"

#include "app/history/diff_view.h"
#include "app/history/version_pairs.h"
#include "app/history/words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"
#include "core/history/local_changes.h"

#include <QCheckBox>
#include <QClipboard>
#include <QGuiApplication>
#include <QHBoxLayout>
#include <QHeaderView>
#include <QPushButton>
#include <QScrollBar>
#include <QSplitter>
#include <QTimer>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

namespace {

struct Loaded {
    std::optional<Commit> commit; // nothing for a comparison
    Changes changes;
    std::vector<VersionPair> versions; // instead of changes
    std::optional<LocalFiles> local;   // the same
    const FileChange* file(std::size_t at) const
    {
        if (local)
            return at < local->files.size() ? &local->files[at].change : nullptr;
        return at < changes.files.size() ? &changes.files[at] : nullptr;
    }
};

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

struct CommitPanel::Private {
    CommitPanel* q;
    SnapshotPtr snapshot;
    Oid shown, older; // `older` is set for a comparison
    bool asVersions = false;
    bool isLocal = false; // what is not committed; `shown` is zero then
    Loaded loaded;
    QPointer<Work> work;
    QTimer delay;

    PlainLabel* subject = nullptr;
    PlainLabel* author = nullptr;
    PlainLabel* committer = nullptr;
    PlainLabel* id = nullptr;
    PlainLabel* presence = nullptr;
    QPlainTextEdit* message = nullptr;
    QCheckBox* fixedWidth = nullptr;
    QHBoxLayout* parents = nullptr;
    QPushButton* copyId = nullptr;
    QPushButton* patch = nullptr;
    QTreeWidget* files = nullptr;
    PlainLabel* total = nullptr;
    QCheckBox* whitespace = nullptr;
    DiffView* diff = nullptr;
    VersionPairs* versions = nullptr;

    void buildDetails(QWidget* side);
    void buildChanges(QWidget* side);
    void load();
    void fill();
    void fillCommit(const Commit& commit);
    void fillParents(const std::vector<Oid>& ids);
    void fillLocal();
    void fillFiles();
    QTreeWidgetItem* itemFor(const FileChange& file, const QString& kind, std::size_t at) const;
    void clear(const QString& words);
};

CommitPanel::CommitPanel(QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    d->q = this;
    auto* row = new QHBoxLayout(this);
    row->setContentsMargins(0, 0, 0, 0);
    auto* splitter = new QSplitter(Qt::Horizontal, this);
    splitter->setChildrenCollapsible(false);
    row->addWidget(splitter);
    auto* details = new QWidget(splitter);
    auto* changes = new QWidget(splitter);
    d->buildDetails(details);
    d->buildChanges(changes);
    splitter->addWidget(details);
    splitter->addWidget(changes);
    splitter->setStretchFactor(0, 2);
    splitter->setStretchFactor(1, 3);
    d->delay.setSingleShot(true);
    d->delay.setInterval(60);
    connect(&d->delay, &QTimer::timeout, this, [this] { d->load(); });
    d->clear(tr("No commit is chosen."));
}

CommitPanel::~CommitPanel() = default;

void CommitPanel::Private::buildDetails(QWidget* side)
{
    auto* column = new QVBoxLayout(side);
    const int gap = theme::gap(q);
    column->setContentsMargins(2 * gap, gap + gap / 2, gap, gap);
    column->setSpacing(gap / 2);
    subject = new PlainLabel(side);
    subject->setFont(theme::sized(q->font(), 1.15, true));
    author = new PlainLabel(side);
    committer = new PlainLabel(side);
    id = new PlainLabel(side);
    id->setTextInteractionFlags(Qt::TextSelectableByMouse);
    presence = new PlainLabel(side);
    // Who and where matter whole; the id is one word.
    for (PlainLabel* each : {author, committer, presence})
        each->setWrapped(true);
    message = new QPlainTextEdit(side);
    message->setReadOnly(true);
    // With a caret, which is how one sees where the keyboard is.
    message->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    message->setFrameShape(QFrame::NoFrame);
    message->setAccessibleName(tr("Message"));
    message->viewport()->setAutoFillBackground(false);
    fixedWidth = new QCheckBox(tr("Fixed width"), side);
    copyId = new QPushButton(tr("Copy id"), side);
    patch = new QPushButton(tr("Copy patch"), side);
    parents = new QHBoxLayout;
    parents->setSpacing(gap / 2);
    auto* actions = new QHBoxLayout;
    actions->setSpacing(gap);
    actions->addWidget(copyId);
    actions->addWidget(patch);
    actions->addStretch(1);
    actions->addWidget(fixedWidth);
    column->addWidget(subject);
    for (PlainLabel* each : {author, committer, presence, id})
        column->addWidget(each);
    column->addLayout(parents);
    column->addWidget(message, 1);
    column->addLayout(actions);
    connect(fixedWidth, &QCheckBox::toggled, q,
            [this](bool on) { message->setFont(on ? theme::monospace() : q->font()); });
    connect(copyId, &QPushButton::clicked, q, [this] {
        if (!shown.isZero())
            QGuiApplication::clipboard()->setText(QString::fromStdString(shown.hex()));
    });
    connect(patch, &QPushButton::clicked, q, &CommitPanel::copyPatch);
}

void CommitPanel::Private::buildChanges(QWidget* side)
{
    auto* column = new QVBoxLayout(side);
    const int gap = theme::gap(q);
    column->setContentsMargins(gap, gap, gap, gap);
    column->setSpacing(gap / 2);
    auto* top = new QHBoxLayout;
    total = new PlainLabel(side);
    whitespace = new QCheckBox(tr("Ignore white space"), side);
    top->addWidget(total, 1);
    top->addWidget(whitespace);
    auto* splitter = new QSplitter(Qt::Vertical, side);
    splitter->setChildrenCollapsible(false);
    files = new QTreeWidget(splitter);
    files->setRootIsDecorated(false);
    files->setUniformRowHeights(true);
    files->setHeaderHidden(true);
    files->setColumnCount(4);
    files->setAllColumnsShowFocus(true);
    files->setFrameShape(QFrame::NoFrame);
    files->setTextElideMode(Qt::ElideMiddle);
    files->setAccessibleName(tr("Changed files"));
    files->header()->setStretchLastSection(false);
    files->header()->setSectionResizeMode(0, QHeaderView::Stretch);
    for (int at = 1; at < 4; ++at)
        files->header()->setSectionResizeMode(at, QHeaderView::ResizeToContents);
    q->setFocusProxy(files);
    diff = new DiffView(splitter);
    diff->setObjectName(QStringLiteral("diff"));
    versions = new VersionPairs(files, diff, q);
    connect(versions, &VersionPairs::failed, q, &CommitPanel::failed);
    connect(versions, &VersionPairs::loaded, q, &CommitPanel::loaded);
    splitter->addWidget(files);
    splitter->addWidget(diff);
    splitter->setStretchFactor(0, 1);
    splitter->setStretchFactor(1, 3);
    column->addLayout(top);
    column->addWidget(splitter, 1);
    connect(whitespace, &QCheckBox::toggled, q, [this] { load(); });
    connect(files, &QTreeWidget::currentItemChanged, q, [this](QTreeWidgetItem* item) {
        if (asVersions)
            return; // VersionPairs answers
        if (const FileChange* file = item ? loaded.file(item->data(0, Qt::UserRole).toULongLong()) : nullptr)
            diff->show(*file);
    });
}

void CommitPanel::setSnapshot(const SnapshotPtr& snapshot)
{
    const bool other = !snapshot || !d->snapshot || snapshot->path != d->snapshot->path;
    d->snapshot = snapshot;
    if (other)
        showRow(noRow);
    else if (!d->shown.isZero() && d->loaded.commit)
        d->fillCommit(*d->loaded.commit);
}

void CommitPanel::showRow(Row row)
{
    if (!d->snapshot || row >= d->snapshot->history.size()) {
        if (d->work)
            d->work->cancel();
        d->delay.stop();
        d->shown = d->older = {};
        d->isLocal = false;
        d->clear(tr("No commit is chosen."));
        return;
    }
    showCommit(d->snapshot->history.id(row));
}

void CommitPanel::showCommit(const Oid& id)
{
    if (id == d->shown && d->older.isZero())
        return;
    d->shown = id;
    d->older = {};
    d->asVersions = d->isLocal = false;
    d->delay.start();
}

void CommitPanel::compare(const Oid& older, const Oid& newer)
{
    d->shown = newer;
    d->older = older;
    d->asVersions = d->isLocal = false;
    d->delay.start();
}

void CommitPanel::compareVersions(const Oid& before, const Oid& now)
{
    d->shown = now;
    d->older = before;
    d->asVersions = true;
    d->isLocal = false;
    d->delay.start();
}

void CommitPanel::showLocalChanges()
{
    d->shown = d->older = {};
    d->asVersions = false;
    d->isLocal = true;
    d->delay.start();
}

bool CommitPanel::isOnLocalChanges() const { return d->isLocal; }

void CommitPanel::copyPatch()
{
    if (!d->snapshot || d->shown.isZero() || d->asVersions)
        return;
    startWork<std::string>(
        this, tr("Reading the patch"),
        [path = d->snapshot->path, id = d->shown, before = d->older](const Progress&) -> Result<std::string> {
            const auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            return before.isZero() ? patchText(*repository, id) : patchBetween(*repository, before, id);
        },
        [this](const Result<std::string>& text) {
            const QString words = text ? QString::fromUtf8(text->data(), qsizetype(text->size())) : QString();
            if (!text)
                Q_EMIT failed(QString::fromStdString(text.error().line()));
            else if (words.toUtf8().toStdString() != *text)
                // A clipboard holds text; bytes of another encoding would come out as other bytes.
                Q_EMIT failed(
                    tr("The patch was not copied: it has text that is not UTF-8, which a clipboard would alter. "
                       "Use git format-patch or git diff."));
            else
                QGuiApplication::clipboard()->setText(words);
        });
}

void CommitPanel::Private::load()
{
    if (work)
        work->cancel();
    if (!snapshot || (shown.isZero() && !isLocal))
        return;
    ChangesOptions options;
    options.ignoreWhitespace = whitespace->isChecked();
    const auto job = [path = snapshot->path, id = shown, before = older, local = isLocal, options,
                      table = asVersions ? snapshot : nullptr](const Progress& progress) -> Result<Loaded> {
        const auto repository = Repository::open(path);
        if (!repository)
            return std::unexpected(repository.error());
        Loaded result;
        if (local) {
            auto read = readLocalFiles(*repository, options, progress);
            if (!read)
                return std::unexpected(read.error());
            result.local = std::move(*read);
            return result;
        }
        if (table) {
            auto pairs =
                pairVersions(*repository, *table, table->history.find(before), table->history.find(id), progress);
            if (!pairs)
                return std::unexpected(pairs.error());
            result.versions = std::move(*pairs);
            return result;
        }
        if (before.isZero()) {
            ObjectStore store(*repository);
            auto commit = readCommit(store, id);
            if (!commit)
                return std::unexpected(commit.error());
            result.commit = std::move(*commit);
        }
        auto changes = before.isZero() ? changesOf(*repository, id, options, progress)
                                       : changesBetween(*repository, before, id, options, progress);
        if (!changes)
            return std::unexpected(changes.error());
        result.changes = std::move(*changes);
        return result;
    };
    const auto then = [this, asked = shown, before = older, versionsAsked = asVersions,
                       localAsked = isLocal](Result<Loaded> result) {
        if (asked != shown || before != older || versionsAsked != asVersions || localAsked != isLocal)
            return;
        if (result) {
            loaded = std::move(*result);
            fill();
        } else if (result.error().kind != ErrorKind::Cancelled) {
            clear(QString::fromStdString(result.error().line()));
            Q_EMIT q->failed(QString::fromStdString(result.error().line()));
        }
    };
    work = startWork<Loaded>(q, isLocal ? tr("Reading the local changes") : tr("Reading the commit"), job, then);
}

void CommitPanel::Private::clear(const QString& words)
{
    loaded = {};
    subject->setText(words);
    for (PlainLabel* each : {author, committer, presence, id, total})
        each->setText(QString());
    message->clear();
    fillParents({});
    files->clear();
    diff->showNote(QString());
    for (QWidget* each : {static_cast<QWidget*>(copyId), static_cast<QWidget*>(patch),
                          static_cast<QWidget*>(fixedWidth), static_cast<QWidget*>(whitespace)})
        each->setEnabled(false);
}

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
