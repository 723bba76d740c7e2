// SPDX-License-Identifier: MIT
//
// How the dry run page is put together, and what each of its controls asks for.
#include "app/dryrun/dry_run_page_private.h"

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
    button->setToolTip(key.isEmpty() ? tip
                                     : QStringLiteral("%1 (%2)").arg(tip, key.toString(QKeySequence::NativeText)));
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
    wrong = new NoticeBar(q);
    wrong->setObjectName(QStringLiteral("wrong"));
    wrong->setDismissable(false);
    column->addWidget(wrong);
    column->addLayout(buildButtons());
}

QHBoxLayout* DryRunPage::Private::buildHead()
{
    auto* head = new QHBoxLayout;
    title = new PlainLabel(q);
    state = new PlainLabel(q);
    state->setAlignment(Qt::AlignRight | Qt::AlignVCenter);
    walk = tool(tr("What happe&ns here?"), tr("Shows this replay step by step"));
    head->addWidget(title, 1);
    head->addWidget(state);
    head->addWidget(walk);
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
    gather =
        tool(tr("&Gather fix-ups"), tr("Puts commits marked fixup!, squash! or amend! behind the commits they name"));
    up->setObjectName(QStringLiteral("up"));
    down->setObjectName(QStringLiteral("down"));
    leaveOut->setObjectName(QStringLiteral("leaveOut"));
    fold->setObjectName(QStringLiteral("fold"));
    foldQuietly->setObjectName(QStringLiteral("foldQuietly"));
    reword->setObjectName(QStringLiteral("reword"));
    gather->setObjectName(QStringLiteral("gather"));
    for (QToolButton* button : {up, down, leaveOut, fold, foldQuietly, reword, gather})
        row->addWidget(button);
    row->addStretch(1);
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
    message->setObjectName(QStringLiteral("message"));
    useMessage->setObjectName(QStringLiteral("useMessage"));
    keepMessage->setObjectName(QStringLiteral("keepMessage"));
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
    carryStacked->setObjectName(QStringLiteral("carryStacked"));
    merges->setObjectName(QStringLiteral("merges"));
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
    row->addWidget(merges); // beside the options it would not fit into a small window
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
    theme::keepColour(state, QPalette::WindowText, theme::quiet);
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
        selectAfter = -1;
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
    QObject::connect(merges, &QComboBox::activated, q,
                     [this] { planAgain(MergeCommits(merges->currentData().toInt())); });
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
    auto* leave = new QShortcut(Qt::Key_Escape, q, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
    QObject::connect(leave, &QShortcut::activated, q, [this] {
        if (rewording >= 0)
            endReword(false);
        else if (isEdited())
            notice->say(NoticeBar::Info, tr("The list was edited: Close gives that up"));
        else
            close->click();
    });
    if (!flow)
        return;
    QObject::connect(flow, &ReplayFlow::started, q, [this] {
        run.reset();
        stacked = flow->plan().stacked;
        asBegun = flow->plan().commits;
        notice->clear();
        rewordBox->hide();
        rewording = -1;
        model->setRun({});
        update();
    });
    QObject::connect(flow, &ReplayFlow::runChanged, q, [this] { q->showRun(flow->run()); });
    QObject::connect(flow, &ReplayFlow::remarksChanged, q, [this] { updateTexts(); });
    QObject::connect(flow, &ReplayFlow::busyChanged, q, [this] { updateTexts(); });
    QObject::connect(flow, &ReplayFlow::failed, q, [this](const QString& line) {
        if (q->isVisible())
            notice->say(NoticeBar::Trouble, line);
    });
    QObject::connect(flow, &ReplayFlow::closed, q, [this] {
        run.reset();
        model->setRun({});
        Q_EMIT q->ghostChanged({});
        Q_EMIT q->closed();
    });
    if (session)
        QObject::connect(session, &Session::driftChanged, q, [this] { updateTexts(); });
}

} // namespace espalier
