// SPDX-License-Identifier: MIT
#include "app/window/main_window.h"

#include "app/drift/clean_up_page.h"
#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/history/commit_panel.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/dialogs.h"
#include "app/window/places_strip.h"
#include "app/window/start_page.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <QProgressBar>
#include <QPushButton>
#include <QShortcut>
#include <QSplitter>
#include <QStackedWidget>
#include <QStatusBar>
#include <QTimer>
#include <QVBoxLayout>

namespace espalier {

MainWindow::MainWindow(QWidget* parent)
    : QMainWindow(parent), m_session(new Session(this)), m_flow(new ReplayFlow(m_session, this))
{
    setWindowTitle(tr("Espalier"));
    m_session->setAccess(dialogs::accessFor(this));
    buildPages();
    buildStatus();
    buildMenus();
    wireSession();
    wireGraph();
    wireBoard();
    wireReplay();
    wirePages();
    wireStart();
    auto* panes = new QShortcut(QKeySequence(Qt::Key_F6), this);
    connect(panes, &QShortcut::activated, this, &MainWindow::cyclePanes);
    resize(1360, 860);
    m_pages->setCurrentWidget(m_start);
    m_start->setFocus();
    updateActions();
}

MainWindow::~MainWindow()
{
    // Pages hear of what the session and the flow do while these go; none of it concerns a window that is going too.
    m_session->disconnect();
    m_flow->disconnect();
    m_pages->disconnect(this);
    // Works end with the pages that they are for, when the status line is gone already.
    for (Work* work : std::as_const(m_shownWorks))
        work->disconnect(this);
}

void MainWindow::buildPages()
{
    const int space = theme::gap(this);
    auto* middle = new QWidget(this);
    setCentralWidget(middle);
    auto* column = new QVBoxLayout(middle);
    column->setContentsMargins(space * 3 / 2, space, space * 3 / 2, space);
    column->setSpacing(space);
    m_notice = new NoticeBar(middle);
    m_pages = new QStackedWidget(middle);
    column->addWidget(m_notice);
    column->addWidget(m_pages, 1);

    m_workbench = new QWidget(m_pages);
    auto* bench = new QVBoxLayout(m_workbench);
    bench->setContentsMargins(0, 0, 0, 0);
    bench->setSpacing(space);
    m_places = new PlacesStrip(m_session, m_workbench);
    m_columns = new QSplitter(Qt::Horizontal, m_workbench);
    m_rows = new QSplitter(Qt::Vertical, m_columns);
    m_board = new DriftBoard(m_session, m_columns);
    // The graph runs to the card's edge; its corners are all that has to stay free.
    auto* graphCard = new Card(m_rows);
    auto* graphColumn = new QVBoxLayout(graphCard);
    graphColumn->setContentsMargins(1, space / 4, 1, space / 2);
    m_graph = new GraphView(graphCard);
    graphColumn->addWidget(m_graph);
    auto* lowerCard = new Card(m_rows);
    auto* lowerColumn = new QVBoxLayout(lowerCard);
    lowerColumn->setContentsMargins(1, 1, 1, 1);
    m_lower = new QStackedWidget(lowerCard);
    lowerColumn->addWidget(m_lower);
    m_commit = new CommitPanel(m_lower);
    m_dryRun = new DryRunPage(m_session, m_flow, m_lower);
    m_lower->addWidget(m_commit);
    m_lower->addWidget(m_dryRun);
    m_rows->addWidget(graphCard);
    m_rows->addWidget(lowerCard);
    m_columns->addWidget(m_board);
    m_columns->addWidget(m_rows);
    for (QSplitter* splitter : {m_columns, m_rows}) {
        splitter->setHandleWidth(space);
        splitter->setChildrenCollapsible(false);
    }
    m_columns->setStretchFactor(1, 1);
    m_rows->setStretchFactor(0, 3); // a lower window leaves the history its share
    m_rows->setStretchFactor(1, 2);
    const int line = fontMetrics().height();
    m_board->setMinimumWidth(line * 21);
    m_columns->setSizes({line * 26, line * 66});
    m_rows->setSizes({line * 30, line * 21});
    bench->addWidget(m_places);
    bench->addWidget(m_columns, 1);

    m_start = new StartPage(m_pages);
    m_settle = new SettlePage(m_session, m_flow, m_pages);
    m_overwrite = new OverwritePage(m_session, m_pages);
    m_logbook = new LogbookPage(m_session, m_pages);
    m_cleanUp = new CleanUpPage(m_session, m_pages);
    m_walkthrough = new WalkthroughPage(m_pages);
    const QList<QWidget*> pages{m_start, m_workbench, m_settle, m_overwrite, m_logbook, m_cleanUp, m_walkthrough};
    for (QWidget* page : pages)
        m_pages->addWidget(page);
}

void MainWindow::buildStatus()
{
    statusBar()->setSizeGripEnabled(false);
    m_workTitle = new PlainLabel(this);
    m_workBar = new QProgressBar(this);
    m_workBar->setMaximumWidth(theme::gap(this) * 20);
    m_workBar->setTextVisible(false);
    // Not "cancel": what a work has done already, it has done.
    m_workStop = new QPushButton(tr("&Stop"), this);
    m_workStop->setObjectName(QStringLiteral("stopWork"));
    for (QWidget* widget :
         {static_cast<QWidget*>(m_workTitle), static_cast<QWidget*>(m_workBar), static_cast<QWidget*>(m_workStop)}) {
        statusBar()->addPermanentWidget(widget);
    }
    connect(m_workStop, &QPushButton::clicked, this, [this] {
        if (Work* work = shownWork())
            work->cancel();
    });
    connect(statusBar(), &QStatusBar::messageChanged, this, &MainWindow::updateStatus);
    updateStatus();
    connect(WorkBoard::instance(), &WorkBoard::began, this, [this](Work* work) {
        // What is over at once is not shown: flicker tells nobody anything.
        QTimer::singleShot(300, work, [this, work] { showWork(work); });
    });
}

// An empty bar takes room from the page.
void MainWindow::updateStatus()
{
    const Work* work = shownWork();
    for (QWidget* widget :
         {static_cast<QWidget*>(m_workTitle), static_cast<QWidget*>(m_workBar), static_cast<QWidget*>(m_workStop)})
        widget->setVisible(work != nullptr);
    statusBar()->setVisible(work || !statusBar()->currentMessage().isEmpty());
    if (!work)
        return;
    const QString step =
        work->step().isEmpty() ? QString() : QStringLiteral(" · ") + work->step() + QStringLiteral("…");
    const QString waiting = work->waiting() == 0 ? QString() : tr(" · %1 more after it").arg(work->waiting());
    m_workTitle->setText(work->title() + step + waiting);
    m_workStop->setAccessibleDescription(work->title() + step);
    m_workBar->setRange(0, work->fraction() < 0 ? 0 : 1000);
    m_workBar->setValue(int(work->fraction() * 1000));
    m_workStop->setEnabled(!work->isCancelled());
}

// The newest of those that still run: when it has ended, the one before it is seen again, and can be stopped.
Work* MainWindow::shownWork() const { return m_shownWorks.isEmpty() ? nullptr : m_shownWorks.back(); }

void MainWindow::showWork(Work* work)
{
    m_shownWorks.append(work);
    updateStatus();
    const auto forget = [this, work] {
        m_shownWorks.removeAll(work);
        updateStatus();
    };
    connect(work, &Work::progressed, this, &MainWindow::updateStatus);
    connect(work, &Work::cancelled, this, &MainWindow::updateStatus);
    connect(work, &Work::ended, this, forget);
    connect(work, &QObject::destroyed, this, forget);
}

void MainWindow::openRepository(const QString& path)
{
    keepGraphState();
    m_opening = true;
    m_notice->clear();
    if (m_flow->isActive())
        m_flow->close();
    m_graph->setGhost({});
    m_lower->setCurrentWidget(m_commit);
    m_graph->setSnapshot({}, {});
    m_graph->setLocalChanges({});
    m_commit->setSnapshot({});
    m_session->open(QDir(path).absolutePath());
    m_session->setLastLook(savedLook());
    updateActions();
}

void MainWindow::takeUpSnapshot()
{
    const SnapshotPtr snapshot = m_session->snapshot();
    if (m_opening) {
        const QByteArray state = savedGraphState();
        m_graph->restoreState(state);
        // More than anybody reads through: the first look is at what is the user's.
        constexpr Row large = 2000;
        if (state.isEmpty() && snapshot->history.size() > large)
            m_graph->foldAroundUser();
        else if (m_graph->isFoldedAroundUser())
            m_graph->foldAroundUser(); // says so again
    }
    m_graph->setSnapshot(snapshot, m_session->lanes());
    m_commit->setSnapshot(snapshot);
    if (const Ref* moved = snapshot->findRef(std::exchange(m_showNext, {})); moved && moved->row != noRow)
        m_graph->goTo(moved->row);
    showChosen();
    if (std::exchange(m_opening, false)) {
        setWindowTitle(tr("%1 · Espalier").arg(toText(snapshot->name)));
        remember(m_session->path());
        showPage(m_workbench);
        const Ref* head = snapshot->findRef(snapshot->worktree.headBranch);
        if (head && head->row != noRow && !m_graph->isFocused())
            m_graph->goTo(head->row);
        showStanding();
    }
    updateActions();
}

void MainWindow::showChosen()
{
    if (!m_graph->isOnLocalChanges())
        m_commit->showRow(m_graph->currentRow());
    else if (!m_commit->isOnLocalChanges())
        m_commit->showLocalChanges();
}

// What is unusual about the repository, and worth a line when it is opened.
void MainWindow::showStanding()
{
    const Snapshot& snapshot = *m_session->snapshot();
    const Recovery& recovery = m_session->recovery();
    NoticeBar::Tone tone = recovery.failed ? NoticeBar::Trouble : NoticeBar::Info;
    QStringList lines;
    if (!recovery.line.isEmpty())
        lines << recovery.line;
    if (!snapshot.worktree.inProgress.empty()) {
        tone = recovery.failed ? tone : NoticeBar::Warning;
        lines << tr("git has %1 in progress here. Finish or stop it with git before a replay is applied.")
                     .arg(toText(snapshot.worktree.inProgress));
    } else {
        for (const std::string& notice : snapshot.notices)
            lines << toText(notice);
    }
    if (!lines.isEmpty())
        m_notice->say(tone, lines.join(QLatin1Char(' ')));
}

void MainWindow::startReplay(const DragSource& what, const DropTarget& dropped)
{
    // A commit that a branch stands at is better known by the branch's name.
    DropTarget onto = dropped;
    if (const SnapshotPtr snapshot = m_session->snapshot(); snapshot && onto.refName.empty())
        for (const int at : snapshot->refsAt(snapshot->history.find(onto.commit)))
            if (const Ref& ref = snapshot->refs[std::size_t(at)]; onto.refName.empty() || at == snapshot->mainLine) {
                if (ref.kind == RefKind::Branch || ref.kind == RefKind::RemoteBranch) {
                    onto.refName = ref.name;
                    onto.label = toText(ref.shortName);
                }
            }
    const auto begin = [this](const Plan& plan) {
        m_notice->clear();
        showWorkbench();
        m_lower->setCurrentWidget(m_dryRun);
        m_dryRun->setFocus(Qt::OtherFocusReason);
        m_flow->start(plan);
    };
    if (what.wholeBranch && !what.branch.empty())
        m_session->plan(what.branch, onto.commit, toBytes(onto.label), begin);
    else
        m_session->planRange(what.branch, what.below, what.tip, onto.commit, toBytes(onto.label), begin);
}

void MainWindow::checkAndPush(const std::string& branch) { checkAndPushTogether({branch}); }

void MainWindow::checkAndPushTogether(const std::vector<std::string>& branches)
{
    m_session->checkOverwrite(branches, [this](const Result<std::vector<OverwriteCheck>>& checks) {
        if (!checks) {
            m_notice->say(NoticeBar::Trouble, toText(checks.error().line()));
            return;
        }
        m_notice->clear();
        m_pages->setCurrentWidget(m_overwrite);
        m_overwrite->showFor(*checks); // chooses which button has the keyboard
    });
}

namespace {

// The branches of the clone that a change moved, `first` before the others: a stack is pushed together.
std::vector<std::string> movedTogether(const Applied& applied, const std::string& first)
{
    std::vector<std::string> names{first};
    for (const RefMove& move : applied.entry.moves)
        if (const std::string name = shortBranchName(move.name);
            move.name.starts_with(headsPrefix) && !move.now.isZero() && name != first)
            names.push_back(name);
    return names;
}

} // namespace

void MainWindow::offerPush(const Applied& applied)
{
    const SnapshotPtr snapshot = m_session->snapshot();
    std::string branch = m_flow->plan().branch;
    if (branch.empty() && !applied.entry.moves.empty())
        branch = applied.entry.moves.front().name;
    // The new tip is in the snapshot that follows.
    m_showNext = branch;
    m_notice->say(NoticeBar::Good, doneLine(applied));
    if (const std::string name = shortBranchName(branch); snapshot && !snapshot->roles.fork.empty() && !name.empty())
        connect(m_notice->offer(tr("Check &overwrite and push…")), &QPushButton::clicked, this,
                [this, names = movedTogether(applied, name)] { checkAndPushTogether(names); });
}

void MainWindow::offerMoveToTopic(int ownCommits)
{
    const QString commits = toText(counted(std::size_t(ownCommits), "commit", "commits"));
    m_notice->say(NoticeBar::Warning,
                  tr("The clone's main line has %1 of its own; it was left as it is.").arg(commits));
    connect(m_notice->offer(tr("&Move them to a topic branch…")), &QPushButton::clicked, this, [this] {
        if (!m_session->snapshot())
            return;
        const auto answer = dialogs::askBranchName(this, tr("Move to a topic branch"),
                                                   tr("The main line's own commits go to this branch, and the main "
                                                      "line goes back to where upstream's stands."),
                                                   QStringLiteral("topic/"), *m_session->snapshot(), false);
        if (answer)
            m_session->moveMainToTopic(answer->branch);
    });
}

void MainWindow::showPage(QWidget* page)
{
    // Where the workbench had the keyboard, it has it again.
    QWidget* last = page->focusWidget();
    m_pages->setCurrentWidget(page);
    if (page != m_workbench)
        page->setFocus(Qt::OtherFocusReason);
    else if (m_lower->currentWidget() == m_dryRun)
        m_dryRun->setFocus(Qt::OtherFocusReason);
    else if (last && last->isVisible() && last->isEnabled())
        last->setFocus(Qt::OtherFocusReason);
    else
        m_board->setFocus(Qt::OtherFocusReason);
}

void MainWindow::showWorkbench()
{
    if (QWidget* page = m_session->isOpen() ? m_workbench : m_start; page != currentPage())
        showPage(page);
}

QWidget* MainWindow::currentPage() const { return m_pages->currentWidget(); }

void MainWindow::showCommit(const Oid& id)
{
    showWorkbench();
    m_lower->setCurrentWidget(m_commit);
    m_graph->goToId(id);
}

void MainWindow::showLogbook() { showPage(m_logbook); }

void MainWindow::showCleanUp()
{
    showPage(m_cleanUp);
    m_cleanUp->reload();
}

void MainWindow::showWalkthrough()
{
    m_walkthrough->showExample();
    showPage(m_walkthrough);
}

void MainWindow::cyclePanes()
{
    if (currentPage() != m_workbench)
        return;
    const QList<QWidget*> panes{m_places, m_board, m_graph, m_lower->currentWidget()};
    qsizetype at = -1;
    for (qsizetype i = 0; i < panes.size(); ++i)
        if (focusWidget() && (panes[i] == focusWidget() || panes[i]->isAncestorOf(focusWidget())))
            at = i;
    QWidget* next = panes[(at + 1) % panes.size()];
    if (next->focusProxy()) {
        next->setFocus(Qt::ShortcutFocusReason);
        return;
    }
    // The first thing in the pane that takes the keyboard.
    for (QWidget* child : next->findChildren<QWidget*>())
        if (child->isVisible() && child->isEnabled() && (child->focusPolicy() & Qt::TabFocus)) {
            child->setFocus(Qt::ShortcutFocusReason);
            return;
        }
    next->setFocus(Qt::ShortcutFocusReason);
}

bool MainWindow::event(QEvent* event)
{
    // What other programs did meanwhile is seen as soon as the user is back.
    if (event->type() == QEvent::WindowActivate && m_session->isOpen())
        m_session->refresh();
    return QMainWindow::event(event);
}

} // namespace espalier
