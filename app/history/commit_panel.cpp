// SPDX-License-Identifier: MIT
#include "app/history/commit_panel_private.h"

#include "app/history/diff_view.h"
#include "app/history/words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QClipboard>
#include <QGuiApplication>
#include <QHBoxLayout>
#include <QHeaderView>
#include <QPushButton>
#include <QScrollBar>
#include <QSplitter>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

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

} // namespace espalier
