// SPDX-License-Identifier: MIT
#include "app/logbook/logbook_page.h"

#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/refs/ref_name.h"

#include <QHeaderView>
#include <QPushButton>
#include <QSplitter>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

namespace {

QString stateText(const LogbookEntry& entry)
{
    switch (entry.state) {
    case EntryState::Begun:
        return QObject::tr("begun");
    case EntryState::Done:
        return QObject::tr("done");
    case EntryState::Undone:
        return QObject::tr("undone");
    default:
        return QObject::tr("taken back");
    }
}

QString kindText(const LogbookEntry& entry) { return toText(entryKindName(entry.kind)); }
int localOffset(qint64 when) { return QDateTime::fromSecsSinceEpoch(when).offsetFromUtc() / 60; }
QString idText(const Oid& id) { return id.isZero() ? QStringLiteral("—") : toText(id.brief()); }

} // namespace

struct LogbookPage::Private {
    LogbookPage* page;
    Session* session;
    std::vector<LogbookEntry> entries;
    NoticeBar* notice = nullptr;
    Card* emptyCard = nullptr;
    PlainLabel* empty = nullptr;
    QSplitter* splitter = nullptr;
    QTreeWidget* list = nullptr;
    PlainLabel* heading = nullptr;
    PlainLabel* facts = nullptr;
    QTreeWidget* moves = nullptr;
    PlainLabel* consequence = nullptr;
    QPushButton* takeBack = nullptr;
    QPushButton* letGo = nullptr;
    QPushButton* close = nullptr;
    std::string armed; // the entry whose letting go was asked for once

    const LogbookEntry* chosen() const
    {
        const int row = list->indexOfTopLevelItem(list->currentItem());
        return row < 0 || row >= int(entries.size()) ? nullptr : &entries[std::size_t(row)];
    }

    void build();
    void buildEmpty();
    void buildDetail(QWidget* parent);
    void showChosen();
    void takeItBack(const LogbookEntry& entry, const std::vector<MovedBranch>& agreed);
    void offerEvenSo(const LogbookEntry& entry, const std::vector<MovedBranch>& moved, const QString& refusal);
    void forget();
};

void LogbookPage::Private::build()
{
    const int space = theme::gap(page);
    auto* column = new QVBoxLayout(page);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(space);
    auto* head = new PageHead(tr("Logbook"), page);
    head->setSentence(
        tr("Every rewrite and every overwrite, newest first. The old tips are kept until you let an entry go."));
    close = new QPushButton(tr("&Close"), head);
    close->setObjectName(QStringLiteral("close"));
    head->addAction(close);
    notice = new NoticeBar(page);
    buildEmpty();
    splitter = new QSplitter(Qt::Horizontal, page);
    auto* listCard = new Card(splitter);
    auto* listColumn = new QVBoxLayout(listCard);
    listColumn->setContentsMargins(space, space, space, space);
    list = new QTreeWidget(listCard);
    list->setHeaderLabels({tr("When"), tr("What"), tr("State"), tr("Title")});
    list->setRootIsDecorated(false);
    list->setUniformRowHeights(true);
    list->setAllColumnsShowFocus(true);
    list->setFrameShape(QFrame::NoFrame);
    list->setAccessibleName(tr("Entries of the logbook"));
    list->setObjectName(QStringLiteral("entries"));
    list->header()->setSectionResizeMode(QHeaderView::ResizeToContents);
    list->header()->setStretchLastSection(true);
    listColumn->addWidget(list);
    auto* detail = new Card(splitter);
    buildDetail(detail);
    splitter->setStretchFactor(0, 3);
    splitter->setStretchFactor(1, 2);
    splitter->setSizes({3 * page->width(), 2 * page->width()});
    splitter->setChildrenCollapsible(false);
    splitter->setHandleWidth(space);
    column->addWidget(head);
    column->addWidget(notice);
    column->addWidget(emptyCard, 1);
    page->setFocusProxy(list);
    column->addWidget(splitter, 1);
    QObject::connect(close, &QPushButton::clicked, page, &LogbookPage::closed);
    QObject::connect(list, &QTreeWidget::currentItemChanged, page, [this] { showChosen(); });
}

void LogbookPage::Private::buildEmpty()
{
    emptyCard = new Card(page);
    auto* column = page::cardColumn(emptyCard);
    auto* title = new PlainLabel(tr("Nothing has been changed yet"), emptyCard);
    title->setFont(theme::sized(page->font(), 1.15, true));
    empty = new PlainLabel(tr("The first replay, push or deletion will stand here, with the way back."), emptyCard);
    page::quieten(empty);
    column->addStretch(2);
    column->addWidget(title, 0, Qt::AlignHCenter);
    column->addWidget(empty, 0, Qt::AlignHCenter);
    column->addStretch(3);
}

void LogbookPage::Private::buildDetail(QWidget* parent)
{
    auto* column = page::tableColumn(parent);
    heading = new PlainLabel(parent);
    heading->setWrapped(true);
    heading->setFont(theme::sized(page->font(), 1.1, true));
    facts = new PlainLabel(parent);
    page::quieten(facts);
    moves = new QTreeWidget(parent);
    moves->setHeaderLabels({tr("Branch"), tr("From"), tr("To")});
    moves->setRootIsDecorated(false);
    moves->setFrameShape(QFrame::NoFrame);
    moves->setAllColumnsShowFocus(true);
    moves->header()->setStretchLastSection(false);
    moves->header()->setSectionResizeMode(QHeaderView::ResizeToContents);
    moves->header()->setSectionResizeMode(0, QHeaderView::Stretch);
    moves->setAccessibleName(tr("What the entry moved"));
    consequence = new PlainLabel(parent);
    consequence->setWrapped(true);
    takeBack = new QPushButton(tr("&Take back"), parent);
    takeBack->setObjectName(QStringLiteral("takeBack"));
    takeBack->setDefault(true);
    letGo = new QPushButton(tr("&Let go…"), parent);
    letGo->setObjectName(QStringLiteral("letGo"));
    auto* row = new QHBoxLayout;
    row->addWidget(takeBack);
    row->addWidget(letGo);
    row->addStretch(1);
    page::addToTable(column, heading);
    page::addToTable(column, facts);
    column->addWidget(moves);
    page::addToTable(column, consequence);
    page::addToTable(column, row);
    column->addStretch(1);
    QObject::connect(moves, &QTreeWidget::itemActivated, page, [this](QTreeWidgetItem* item) {
        if (const auto id = Oid::parse(item->data(0, Qt::UserRole).toByteArray().toStdString()))
            Q_EMIT page->commitChosen(*id);
    });
    QObject::connect(takeBack, &QPushButton::clicked, page, [this] {
        if (const LogbookEntry* entry = chosen(); entry && session)
            takeItBack(*entry, {});
    });
    QObject::connect(letGo, &QPushButton::clicked, page, [this] { forget(); });
}

void LogbookPage::Private::showChosen()
{
    const LogbookEntry* entry = chosen();
    armed.clear();
    letGo->setText(tr("&Let go…"));
    moves->clear();
    takeBack->setEnabled(entry && entry->restorable() && session);
    letGo->setEnabled(entry && session);
    heading->setText(entry ? toText(entry->title) : QString());
    facts->setText(entry ? tr("%1, %2 (%3)")
                               .arg(stateText(*entry), absoluteTime(entry->when, localOffset(entry->when)),
                                    relativeTime(entry->when))
                         : QString());
    if (!entry) {
        consequence->setText({});
        return;
    }
    for (const RefMove& move : entry->moves) {
        const QString name = toText(branchOrRef(move.name));
        auto* item = new QTreeWidgetItem(moves, {name, idText(move.old), idText(move.now)});
        item->setData(0, Qt::UserRole, QByteArray::fromStdString(move.old.hex()));
        item->setToolTip(0, toToolTip(name));
        for (const int id : {1, 2})
            item->setFont(id, theme::monospace());
    }
    page::fitRows(moves, 12);
    if (!entry->restorable())
        consequence->setText(tr("There is nothing to take back."));
    else if (!entry->remote.empty())
        consequence->setText(
            tr("Taking it back puts the branch on %1 back to its old tip, and is refused when somebody "
               "moved it since.")
                .arg(toText(entry->remote)));
    else
        consequence->setText(
            tr("Taking it back moves the branches to where they stood before. What stands there now is "
               "kept by a new entry."));
}

void LogbookPage::Private::takeItBack(const LogbookEntry& entry, const std::vector<MovedBranch>& agreed)
{
    session->takeBack(entry, agreed, [this, entry](const Result<std::string>& done) {
        if (done)
            notice->say(NoticeBar::Good, tr("Taken back. That is an entry of its own and can be taken back too."));
        else
            notice->say(NoticeBar::Trouble, toText(done.error().line()));
        page->reload();
        // Perhaps only because a branch moved since: then it can be taken back even so, with open eyes.
        if (!done && done.error().kind == ErrorKind::Refused)
            session->movedSince(entry, [this, entry, refusal = toText(done.error().line())](
                                           const Result<std::vector<MovedBranch>>& moved) {
                if (moved && !moved->empty())
                    offerEvenSo(entry, *moved, refusal);
            });
    });
}

// Names what the branches would lose, and offers to go on.
void LogbookPage::Private::offerEvenSo(const LogbookEntry& entry, const std::vector<MovedBranch>& moved,
                                       const QString& refusal)
{
    QStringList sentences{refusal};
    for (const MovedBranch& branch : moved) {
        const QString name = toText(branchOrRef(branch.name));
        if (branch.now.isZero())
            sentences << tr("%1 is gone; it would stand there again.").arg(name);
        else if (branch.count == 0)
            sentences << tr("%1 loses nothing that no other branch has.").arg(name);
        QStringList lost;
        for (const LostCommit& commit : branch.newest)
            lost << tr("%1 %2 (%3)").arg(toText(commit.id.brief()), toText(commit.subject), toText(commit.author));
        if (branch.count > branch.newest.size())
            lost << tr("and %1 more").arg(branch.count - branch.newest.size());
        if (!lost.isEmpty())
            sentences << tr("%1 would lose: %2.").arg(name, lost.join(QStringLiteral("; ")));
    }
    sentences << tr("The new entry keeps what stands there now.");
    notice->say(NoticeBar::Warning, sentences.join(QLatin1Char(' ')));
    QPushButton* evenSo = notice->offer(tr("Take back &even so"));
    evenSo->setObjectName(QStringLiteral("takeBackEvenSo"));
    QObject::connect(evenSo, &QPushButton::clicked, page, [this, entry, moved] { takeItBack(entry, moved); });
    evenSo->setFocus();
}

void LogbookPage::Private::forget()
{
    const LogbookEntry* entry = chosen();
    if (!entry || !session)
        return;
    if (armed != entry->id) {
        armed = entry->id;
        letGo->setText(tr("&Let go for good"));
        consequence->setText(
            tr("Letting an entry go removes it from the logbook. Its old tips are then only safe while "
               "another branch or the reflog still names them. Press again to do it."));
        return;
    }
    session->letGo(*entry, [this](const Result<bool>& done) {
        if (!done)
            notice->say(NoticeBar::Trouble, toText(done.error().line()));
        page->reload();
    });
}

LogbookPage::LogbookPage(Session* session, QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    d->page = this;
    d->session = session;
    setAccessibleName(tr("Logbook"));
    d->build();
    d->showChosen();
    if (session) {
        connect(session, &Session::snapshotChanged, this, [this] {
            if (isVisible())
                reload();
        });
    }
}

LogbookPage::~LogbookPage() = default;

void LogbookPage::showEvent(QShowEvent* event)
{
    QWidget::showEvent(event);
    reload();
}

void LogbookPage::reload()
{
    if (!d->session || d->session->path().isEmpty())
        return;
    struct Read {
        std::vector<LogbookEntry> entries;
        QStringList notices;
    };
    startWork<Read>(
        this, tr("Reading the logbook"),
        [path = d->session->path().toStdString()](const Progress&) -> Result<Read> {
            const auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            std::vector<std::string> notices;
            auto entries = readLogbook(*repository, &notices);
            if (!entries)
                return std::unexpected(entries.error());
            Read read{std::move(*entries), {}};
            for (const std::string& notice : notices)
                read.notices << toText(notice);
            return read;
        },
        [this](Result<Read> read) {
            if (read)
                showEntries(read->entries, read->notices);
            else
                d->notice->say(NoticeBar::Trouble, toText(read.error().line()));
        });
}

void LogbookPage::showEntries(const std::vector<LogbookEntry>& entries, const QStringList& notices)
{
    const std::string before = d->chosen() ? d->chosen()->id : std::string();
    d->list->clear();
    d->entries = entries;
    int current = 0;
    for (std::size_t i = 0; i < entries.size(); ++i) {
        const LogbookEntry& entry = entries[i];
        auto* item = new QTreeWidgetItem(
            d->list, {relativeTime(entry.when), kindText(entry), stateText(entry), toText(entry.title)});
        item->setToolTip(3, toToolTip(toText(entry.title)));
        for (const int quiet : {0, 2})
            theme::keepColour(d->list, item, quiet, theme::quiet);
        if (entry.id == before)
            current = int(i);
    }
    d->emptyCard->setVisible(entries.empty());
    d->splitter->setVisible(!entries.empty());
    if (!entries.empty())
        d->list->setCurrentItem(d->list->topLevelItem(current));
    d->showChosen();
    if (!notices.isEmpty())
        d->notice->say(NoticeBar::Warning, notices.join(QLatin1Char(' ')));
}

} // namespace espalier
