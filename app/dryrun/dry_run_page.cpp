// SPDX-License-Identifier: MIT
#include "app/dryrun/dry_run_page.h"

#include "app/dryrun/commit_list.h"
#include "app/dryrun/meaning.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"

#include <QAction>
#include <QBoxLayout>
#include <QCheckBox>
#include <QClipboard>
#include <QComboBox>
#include <QGuiApplication>
#include <QHeaderView>
#include <QLineEdit>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QShortcut>
#include <QToolButton>
#include <QTreeView>

namespace espalier {

namespace {

QString counted_(std::size_t number, const char* one, const char* many)
{
    return QString::fromStdString(counted(number, one, many));
}

} // namespace

struct DryRunPage::Private {
    Private(DryRunPage* page, Session* s, ReplayFlow* f) : q(page), session(s), flow(f) {}

    DryRunPage* q;
    Session* session;
    ReplayFlow* flow;
    DryRunPtr run;
    std::vector<StackedBranch> stacked; // as planned, before the user chose not to carry them
    int selectAfter = -1;
    int rewording = -1;

    PlainLabel *title, *state, *meaning;
    NoticeBar* notice;
    CommitListModel* model;
    QTreeView* list;
    QToolButton *up, *down, *leaveOut, *fold, *foldQuietly, *reword, *gather, *walk;
    QWidget *tools, *rewordBox;
    QPlainTextEdit* message;
    QPushButton *useMessage, *keepMessage;
    QCheckBox* carryStacked;
    QComboBox* merges;
    QVBoxLayout* cautions;
    QLineEdit* command;
    QToolButton* copy;
    QPushButton *settle, *apply, *close;

    void build();
    QHBoxLayout* buildHead();
    QWidget* buildTools();
    QWidget* buildReword();
    QHBoxLayout* buildOptions();
    QHBoxLayout* buildButtons();
    void connectAll();
    QToolButton* tool(const QString& text, const QString& tip, const QKeySequence& key = {});
    void dress();

    int current() const { return list->currentIndex().isValid() ? list->currentIndex().row() : -1; }
    void update();
    void updateTools();
    void updateTexts();
    void edit(Result<Plan> plan, int select);
    void move(int from, int to);
    void treat(Treatment treatment);
    void beginReword();
    void endReword(bool use);
    void gatherFixups();
    void planAgain(MergeCommits how);
};

DryRunPage::DryRunPage(Session* session, ReplayFlow* flow, QWidget* parent)
    : QWidget(parent)
    , d(std::make_unique<Private>(this, session, flow))
{
    d->build();
    d->connectAll();
    d->dress();
    d->update();
}

DryRunPage::~DryRunPage() = default;

bool DryRunPage::event(QEvent* event)
{
    const bool handled = QWidget::event(event);
    // What the sentences need depends on the width; a splitter asks only for what a page needs at any.
    if (event->type() == QEvent::LayoutRequest || event->type() == QEvent::Resize)
        if (const int least = std::max(0, layout()->totalMinimumHeightForWidth(width())); least != minimumHeight())
            setMinimumHeight(least);
    return handled;
}

QToolButton* DryRunPage::Private::tool(const QString& text, const QString& tip, const QKeySequence& key)
{
    auto* button = new QToolButton(q);
    button->setText(text);
    button->setToolTip(key.isEmpty() ? tip : QStringLiteral("%1 (%2)").arg(tip, key.toString(QKeySequence::NativeText)));
    button->setFocusPolicy(Qt::StrongFocus);
    button->setAutoRaise(true);
    if (!key.isEmpty()) {
        auto* shortcut = new QShortcut(key, list, nullptr, nullptr, Qt::WidgetShortcut);
        QObject::connect(shortcut, &QShortcut::activated, button, [button] { button->click(); });
    }
    return button;
}

void DryRunPage::Private::build()
{
    const int space = theme::gap(q);
    auto* column = new QVBoxLayout(q);
    column->setContentsMargins(space * 2, space * 3 / 2, space * 2, space * 3 / 2);
    column->setSpacing(space);
    model = new CommitListModel(q);
    list = new QTreeView(q);
    list->setModel(model);
    list->setItemDelegate(new CommitListDelegate(model, list));
    list->setRootIsDecorated(false);
    list->setUniformRowHeights(true);
    list->setAllColumnsShowFocus(true);
    list->setFrameShape(QFrame::NoFrame);
    // Without three commits of it the page says nothing.
    list->setMinimumHeight(q->fontMetrics().height() * 15 / 2);
    list->setDragDropMode(QAbstractItemView::InternalMove);
    list->setDropIndicatorShown(true);
    list->setAccessibleName(tr("Commits of the replay, oldest first"));
    list->setContextMenuPolicy(Qt::ActionsContextMenu);
    QHeaderView* header = list->header();
    header->setStretchLastSection(true);
    header->setSectionsMovable(false);
    header->setSectionResizeMode(CommitListModel::Number, QHeaderView::ResizeToContents);

    notice = new NoticeBar(q);
    column->addLayout(buildHead());
    column->addWidget(notice);
    column->addWidget(buildTools());
    column->addWidget(list, 1);
    column->addWidget(buildReword());
    meaning = new PlainLabel(q);
    meaning->setWrapped(true);
    column->addWidget(meaning);
    cautions = new QVBoxLayout;
    cautions->setSpacing(space / 4);
    column->addLayout(cautions);
    column->addLayout(buildOptions());
    column->addLayout(buildButtons());
}

QHBoxLayout* DryRunPage::Private::buildHead()
{
    auto* head = new QHBoxLayout;
    title = new PlainLabel(q);
    state = new PlainLabel(q);
    state->setAlignment(Qt::AlignRight | Qt::AlignVCenter);
    head->addWidget(title, 1);
    head->addWidget(state);
    return head;
}

QWidget* DryRunPage::Private::buildTools()
{
    tools = new QWidget(q);
    auto* row = new QHBoxLayout(tools);
    row->setContentsMargins(0, 0, 0, 0);
    row->setSpacing(theme::gap(q) / 2);
    up = tool(tr("Move &up"), tr("Replays the commit earlier"), QKeySequence(Qt::ALT | Qt::Key_Up));
    down = tool(tr("Move &down"), tr("Replays the commit later"), QKeySequence(Qt::ALT | Qt::Key_Down));
    leaveOut = tool(tr("&Leave out"), tr("Leaves the commit out of the result, or takes it in again"),
                    QKeySequence(Qt::Key_Delete));
    fold = tool(tr("&Fold"), tr("Folds the commit into the one before it, with both messages"));
    foldQuietly = tool(tr("F&old, drop message"), tr("Folds the commit into the one before it, without its message"));
    reword = tool(tr("Re&word…"), tr("Gives the commit another message"), QKeySequence(Qt::Key_F2));
    gather = tool(tr("&Gather fix-ups"), tr("Puts commits marked fixup!, squash! or amend! behind the commits they name"));
    walk = tool(tr("What happe&ns here?"), tr("Shows this replay step by step"));
    for (QToolButton* button : {up, down, leaveOut, fold, foldQuietly, reword, gather})
        row->addWidget(button);
    row->addStretch(1);
    row->addWidget(walk);
    return tools;
}

QWidget* DryRunPage::Private::buildReword()
{
    rewordBox = new QWidget(q);
    auto* column = new QVBoxLayout(rewordBox);
    column->setContentsMargins(0, 0, 0, 0);
    message = new QPlainTextEdit(rewordBox);
    message->setAccessibleName(tr("Message of the commit"));
    message->setTabChangesFocus(true);
    useMessage = new QPushButton(tr("Use th&is message"), rewordBox);
    keepMessage = new QPushButton(tr("&Keep the old one"), rewordBox);
    auto* row = new QHBoxLayout;
    row->addWidget(useMessage);
    row->addWidget(keepMessage);
    row->addStretch(1);
    column->addWidget(message);
    column->addLayout(row);
    rewordBox->hide();
    return rewordBox;
}

QHBoxLayout* DryRunPage::Private::buildOptions()
{
    auto* row = new QHBoxLayout;
    carryStacked = new QCheckBox(q);
    merges = new QComboBox(q);
    merges->addItem(tr("Merge commits: flatten"), int(MergeCommits::Flatten));
    merges->addItem(tr("Merge commits: keep"), int(MergeCommits::Keep));
    merges->setAccessibleName(tr("What becomes of merge commits"));
    command = new QLineEdit(q);
    command->setReadOnly(true);
    command->setAccessibleName(tr("The same on the command line"));
    command->setToolTip(tr("The same on the command line, for those who want to learn it"));
    auto* same = new PlainLabel(tr("On the command line"), q);
    page::quieten(same);
    same->setSizePolicy(QSizePolicy::Fixed, QSizePolicy::Preferred);
    copy = new QToolButton(q);
    copy->setText(tr("Cop&y"));
    copy->setToolTip(tr("Copies the command"));
    copy->setFocusPolicy(Qt::StrongFocus);
    row->addWidget(carryStacked);
    row->addWidget(merges);
    row->addSpacing(theme::gap(q));
    row->addWidget(same);
    row->addWidget(command, 1);
    row->addWidget(copy);
    return row;
}

QHBoxLayout* DryRunPage::Private::buildButtons()
{
    auto* row = new QHBoxLayout;
    row->setSpacing(theme::gap(q));
    settle = new QPushButton(q);
    apply = new QPushButton(tr("&Apply"), q);
    close = new QPushButton(tr("&Close"), q);
    for (QPushButton* button : {settle, apply, close})
        row->addWidget(button);
    row->addStretch(1);
    settle->setObjectName(QStringLiteral("settle"));
    apply->setObjectName(QStringLiteral("apply"));
    close->setObjectName(QStringLiteral("close"));
    list->setObjectName(QStringLiteral("commits"));
    q->setFocusProxy(list);
    return row;
}

void DryRunPage::Private::dress()
{
    title->setFont(theme::sized(q->font(), 1.2, true));
    QPalette quiet = q->palette();
    quiet.setColor(QPalette::WindowText, theme::quiet(q->palette()));
    state->setPalette(quiet);
    command->setFont(theme::monospace());
    message->setFont(theme::monospace());
    message->setFixedHeight(QFontMetrics(message->font()).lineSpacing() * 7);
    const int em = q->fontMetrics().averageCharWidth();
    list->header()->resizeSection(CommitListModel::Subject, em * 52);
    list->header()->resizeSection(CommitListModel::Found, em * 30);
}

void DryRunPage::Private::connectAll()
{
    QObject::connect(up, &QToolButton::clicked, q, [this] { move(current(), current() - 1); });
    QObject::connect(down, &QToolButton::clicked, q, [this] { move(current(), current() + 1); });
    QObject::connect(leaveOut, &QToolButton::clicked, q, [this] { treat(Treatment::LeaveOut); });
    QObject::connect(fold, &QToolButton::clicked, q, [this] { treat(Treatment::Fold); });
    QObject::connect(foldQuietly, &QToolButton::clicked, q, [this] { treat(Treatment::FoldQuietly); });
    QObject::connect(reword, &QToolButton::clicked, q, [this] { beginReword(); });
    QObject::connect(gather, &QToolButton::clicked, q, [this] { gatherFixups(); });
    QObject::connect(walk, &QToolButton::clicked, q, [this] { Q_EMIT q->walkthroughRequested(run); });
    QObject::connect(useMessage, &QPushButton::clicked, q, [this] { endReword(true); });
    QObject::connect(keepMessage, &QPushButton::clicked, q, [this] { endReword(false); });
    for (QToolButton* button : {up, down, leaveOut, fold, foldQuietly, reword}) {
        auto* action = new QAction(button->text(), list);
        QObject::connect(action, &QAction::triggered, button, &QToolButton::click);
        list->addAction(action);
    }
    QObject::connect(model, &CommitListModel::moveRequested, q, [this](int from, int to) { move(from, to); });
    QObject::connect(list->selectionModel(), &QItemSelectionModel::currentChanged, q, [this] {
        updateTools();
        if (run && current() >= 0)
            Q_EMIT q->commitChosen(run->commits[std::size_t(current())].id);
    });
    QObject::connect(list, &QTreeView::activated, q, [this](const QModelIndex& index) {
        if (model->isConflict(index.row()))
            Q_EMIT q->settleRequested();
    });
    QObject::connect(carryStacked, &QCheckBox::clicked, q, [this](bool on) {
        if (!flow || !run)
            return;
        Plan plan = run->plan;
        plan.stacked = on ? stacked : std::vector<StackedBranch>{};
        flow->setPlan(plan);
    });
    QObject::connect(merges, &QComboBox::activated, q, [this] { planAgain(MergeCommits(merges->currentData().toInt())); });
    QObject::connect(copy, &QToolButton::clicked, q,
                     [this] { QGuiApplication::clipboard()->setText(command->text()); });
    QObject::connect(settle, &QPushButton::clicked, q, [this] { Q_EMIT q->settleRequested(); });
    QObject::connect(apply, &QPushButton::clicked, q, [this] {
        if (flow)
            flow->apply();
    });
    QObject::connect(close, &QPushButton::clicked, q, [this] {
        if (flow && flow->isActive())
            flow->close();
        else
            Q_EMIT q->closed();
    });
    if (!flow)
        return;
    QObject::connect(flow, &ReplayFlow::started, q, [this] {
        run.reset();
        stacked = flow->plan().stacked;
        notice->clear();
        rewordBox->hide();
        rewording = -1;
        model->setRun({});
        update();
    });
    QObject::connect(flow, &ReplayFlow::runChanged, q, [this] { q->showRun(flow->run()); });
    QObject::connect(flow, &ReplayFlow::busyChanged, q, [this] { updateTexts(); });
    QObject::connect(flow, &ReplayFlow::failed, q, [this](const QString& line) { notice->say(NoticeBar::Trouble, line); });
    QObject::connect(flow, &ReplayFlow::closed, q, [this] {
        run.reset();
        model->setRun({});
        Q_EMIT q->ghostChanged({});
        Q_EMIT q->closed();
    });
    if (session)
        QObject::connect(session, &Session::driftChanged, q, [this] { updateTexts(); });
}

void DryRunPage::showRun(const DryRunPtr& run)
{
    const int before = d->selectAfter >= 0 ? d->selectAfter : d->current();
    d->selectAfter = -1;
    if (!d->flow && run && d->stacked.empty())
        d->stacked = run->plan.stacked;
    d->run = run;
    d->notice->clear();
    d->model->setRun(run);
    if (run && !run->commits.empty()) {
        int row = before;
        if (row < 0 || row >= d->model->rowCount())
            row = run->clean ? 0 : int(std::min(run->firstConflict(), run->commits.size() - 1));
        const QSignalBlocker quiet(d->list->selectionModel());
        d->list->setCurrentIndex(d->model->index(row, CommitListModel::Subject));
        d->list->viewport()->update();
    }
    d->update();
    Q_EMIT ghostChanged(run ? ghostOf(*run) : ReplayGhost{});
}

void DryRunPage::focusApply()
{
    if (d->apply->isEnabled())
        d->apply->setFocus(Qt::OtherFocusReason);
    else
        d->list->setFocus(Qt::OtherFocusReason);
}

void DryRunPage::Private::update()
{
    updateTools();
    updateTexts();
}

void DryRunPage::Private::updateTools()
{
    const int row = current();
    const bool any = run && row >= 0 && row < int(run->commits.size()) && (!flow || flow->isActive());
    const Treatment now = any ? run->plan.commits[std::size_t(row)].treatment : Treatment::Carry;
    up->setEnabled(any && row > 0);
    down->setEnabled(any && row + 1 < model->rowCount());
    leaveOut->setEnabled(any);
    leaveOut->setText(now == Treatment::LeaveOut ? tr("&Take in again") : tr("&Leave out"));
    fold->setEnabled(any && row > 0);
    fold->setText(now == Treatment::Fold ? tr("Un&fold") : tr("&Fold"));
    foldQuietly->setEnabled(any && row > 0);
    foldQuietly->setText(now == Treatment::FoldQuietly ? tr("Unf&old") : tr("F&old, drop message"));
    reword->setEnabled(any && now == Treatment::Carry);
    gather->setEnabled(run && run->commits.size() > 1);
    walk->setEnabled(run != nullptr);
    for (QAction* action : list->actions())
        action->setEnabled(any);
}

void DryRunPage::Private::updateTexts()
{
    const Plan* plan = run ? &run->plan : flow && flow->isActive() ? &flow->plan() : nullptr;
    title->setText(plan ? tr("Dry run: %1 onto %2").arg(toText(plan->label), toText(plan->ontoLabel)) : tr("Dry run"));
    const bool busy = flow && flow->isBusy();
    state->setText(busy ? tr("computing…") : tr("nothing has been changed"));
    const std::size_t open = run ? run->undecided() : 0;
    settle->setText(open == 0 ? tr("&Settle conflicts") : tr("&Settle %1").arg(counted_(open, "hunk", "hunks")));
    bool conflicts = false;
    if (run)
        for (const ReplayedCommit& commit : run->commits)
            conflicts = conflicts || !commit.conflicts.empty();
    settle->setEnabled(conflicts);
    if (conflicts && open == 0)
        settle->setText(tr("Look at the &settled hunks"));
    apply->setEnabled(run && run->clean && !busy && !run->plan.branch.empty());
    settle->setDefault(open > 0);
    apply->setDefault(apply->isEnabled());
    const bool hasStacked = !stacked.empty();
    carryStacked->setVisible(hasStacked);
    if (hasStacked && plan) {
        QStringList names;
        for (const StackedBranch& branch : stacked)
            names << toText(std::string_view(branch.ref).substr(branch.ref.starts_with("refs/heads/") ? 11 : 0));
        carryStacked->setText(tr("Carry %1 along").arg(toCaption(names.join(QLatin1String(", ")))));
        carryStacked->setChecked(!plan->stacked.empty());
    }
    merges->setEnabled(plan && session);
    if (plan)
        merges->setCurrentIndex(plan->merges == MergeCommits::Keep ? 1 : 0);
    command->setText(run ? toText(commandLineEquivalent(run->plan)) : QString());
    command->setCursorPosition(0);
    copy->setEnabled(run != nullptr);
    while (QLayoutItem* item = cautions->takeAt(0)) {
        delete item->widget();
        delete item;
    }
    if (!run) {
        meaning->setText(flow && flow->isActive() ? tr("The replay is computed in memory; the repository is not touched.")
                                                  : QString());
        return;
    }
    const SnapshotPtr snapshot = session ? session->snapshot() : nullptr;
    const ForkCopy copyOfFork = snapshot ? forkCopyOf(*snapshot, session->drift().get(), *run) : ForkCopy{};
    meaning->setText(meaningOf(*run, copyOfFork));
    for (const QString& line : cautionsOf(*run, copyOfFork)) {
        auto* label = new PlainLabel(QStringLiteral("▲ ") + line, q);
        label->setWrapped(true);
        QPalette colours = q->palette();
        colours.setColor(QPalette::WindowText, theme::warning(q->palette()));
        label->setPalette(colours);
        cautions->addWidget(label);
    }
}

void DryRunPage::Private::edit(Result<Plan> plan, int select)
{
    if (!plan) {
        notice->say(NoticeBar::Warning, toText(plan.error().line()));
        return;
    }
    selectAfter = select;
    if (flow)
        flow->setPlan(*plan);
}

void DryRunPage::Private::move(int from, int to)
{
    if (!run || from < 0 || to < 0 || to >= int(run->plan.commits.size()))
        return;
    // Several steps may be asked for before the dry run has caught up: the newest plan counts.
    edit(withMoved(flow ? flow->plan() : run->plan, std::size_t(from), std::size_t(to)), to);
}

void DryRunPage::Private::treat(Treatment treatment)
{
    const int row = current();
    if (!run || row < 0)
        return;
    const Plan& plan = flow ? flow->plan() : run->plan;
    const bool already = plan.commits[std::size_t(row)].treatment == treatment;
    edit(withTreatment(plan, std::size_t(row), already ? Treatment::Carry : treatment), row);
}

void DryRunPage::Private::beginReword()
{
    const int row = current();
    if (!run || row < 0 || !session)
        return;
    if (const auto& text = run->plan.commits[std::size_t(row)].newMessage) {
        rewording = row;
        message->setPlainText(toLines(*text));
        rewordBox->show();
        message->setFocus();
        return;
    }
    startWork<std::string>(
        q, tr("Reading the message"),
        [path = std::filesystem::path(toBytes(session->path())), id = run->commits[std::size_t(row)].id](const Progress&) {
            return Repository::open(path).and_then([&](const Repository& repository) {
                ObjectStore store(repository);
                return readCommit(store, id).transform(&Commit::messageUtf8);
            });
        },
        [this, row](const Result<std::string>& text) {
            if (!text) {
                notice->say(NoticeBar::Trouble, toText(text.error().line()));
                return;
            }
            rewording = row;
            message->setPlainText(toLines(*text));
            rewordBox->show();
            message->setFocus();
        });
}

void DryRunPage::Private::endReword(bool use)
{
    rewordBox->hide();
    list->setFocus();
    if (!use || rewording < 0 || !run)
        return;
    std::string text = toBytes(message->toPlainText());
    if (!text.ends_with('\n'))
        text += '\n';
    edit(withMessage(flow ? flow->plan() : run->plan, std::size_t(rewording), std::move(text)), rewording);
    rewording = -1;
}

void DryRunPage::Private::gatherFixups()
{
    if (!session || !flow)
        return;
    startWork<Plan>(
        q, tr("Gathering fix-ups"),
        [path = std::filesystem::path(toBytes(session->path())), plan = flow->plan()](const Progress&) {
            return Repository::open(path).transform(
                [&](const Repository& repository) { return withFixupsGathered(repository, plan); });
        },
        [this](Result<Plan> plan) { edit(std::move(plan), 0); });
}

// Keeping merges changes which commits are replayed, so the plan is made again; edits of the old one are gone with it.
void DryRunPage::Private::planAgain(MergeCommits how)
{
    if (!session || !flow || !session->snapshot() || flow->plan().merges == how)
        return;
    startWork<Plan>(
        q, tr("Planning"),
        [path = std::filesystem::path(toBytes(session->path())), snapshot = session->snapshot(), old = flow->plan(), how,
         carry = stacked.empty() || carryStacked->isChecked()](const Progress&) -> Result<Plan> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            const PlanOptions options{carry, how, old.detectLanded, old.committer};
            if (old.below == old.mergeBase && !old.branch.empty())
                return planBranch(*repository, *snapshot, old.branch, old.onto, old.ontoLabel, options);
            return planRange(*repository, *snapshot, old.branch, old.below, old.tip, old.onto, old.ontoLabel, options);
        },
        [this](Result<Plan> plan) {
            if (plan)
                stacked = plan->stacked;
            edit(std::move(plan), -1);
        });
}

} // namespace espalier
