// SPDX-License-Identifier: MIT
//
// Who answers what the session and the pages of the main window say.
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
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/places_strip.h"
#include "app/window/start_page.h"
#include "core/refs/ref_name.h"

#include <QStackedWidget>
#include <QStatusBar>

namespace espalier {

void MainWindow::wireSession()
{
    connect(m_session, &Session::snapshotChanged, this, &MainWindow::takeUpSnapshot);
    connect(m_session, &Session::firstRowsRead, this, [this](const SnapshotPtr& snapshot, const LanesPtr& lanes) {
        m_graph->showFirstRows(snapshot, lanes);
        showPage(m_workbench);
    });
    connect(m_session, &Session::driftChanged, this, [this] {
        if (m_board->selected().empty() && m_session->snapshot())
            m_board->select(m_session->snapshot()->worktree.headBranch);
        updateActions();
    });
    connect(m_session, &Session::said, this, [this](const QString& line) {
        // These two say themselves what they have done.
        if (currentPage() != m_overwrite && currentPage() != m_logbook)
            m_notice->say(NoticeBar::Good, line);
    });
    connect(m_session, &Session::failed, this, [this](const QString& line) {
        m_notice->say(NoticeBar::Trouble, line);
        // What was dropped leads to no dry run.
        if (m_lower->currentWidget() != m_dryRun)
            m_graph->scatter();
    });
    connect(m_session, &Session::mainLineHasOwnCommits, this, &MainWindow::offerMoveToTopic);
    connect(m_session, &Session::openFailed, this, [this](const QString&) {
        m_opening = false;
        setWindowTitle(tr("Espalier"));
        showPage(m_start);
        updateActions();
    });
}

void MainWindow::wireGraph()
{
    connect(m_graph, &GraphView::currentChanged, this, [this] {
        showChosen();
        updateActions();
    });
    const auto takeUpChanges = [this] { m_graph->setLocalChanges(m_session->localChanges()); };
    connect(m_session, &Session::localChangesChanged, this, takeUpChanges);
    connect(m_session, &Session::localChangesCounted, this, [this] {
        if (m_commit->isOnLocalChanges())
            m_commit->showLocalChanges();
    });
    connect(m_graph, &GraphView::replayRequested, this, &MainWindow::startReplay);
    connect(m_graph, &GraphView::checkOutRequested, this, [this](const QString& ref) { askCheckOut(toBytes(ref)); });
    connect(m_graph, &GraphView::createBranchRequested, this, &MainWindow::askNewBranch);
    connect(m_graph, &GraphView::renameRequested, this, [this](const QString& ref) { askRename(toBytes(ref)); });
    connect(m_graph, &GraphView::deleteRequested, this, [this](const QString& ref) { askDelete(toBytes(ref)); });
    connect(m_graph, &GraphView::compareRequested, this, [this](const Oid& older, const Oid& newer) {
        m_lower->setCurrentWidget(m_commit);
        m_commit->compare(older, newer);
    });
    connect(m_graph, &GraphView::versionsRequested, this, [this](const Oid& before, const Oid& now) {
        m_lower->setCurrentWidget(m_commit);
        m_commit->compareVersions(before, now);
    });
    connect(m_graph, &GraphView::activated, this, [this] {
        m_lower->setCurrentWidget(m_commit);
        showChosen();
        m_commit->setFocus();
    });
    connect(m_graph, &GraphView::said, this, [this](const QString& line) { statusBar()->showMessage(line, 8000); });
    connect(m_commit, &CommitPanel::commitRequested, m_graph, &GraphView::goToId);
    connect(m_commit, &CommitPanel::failed, this,
            [this](const QString& line) { m_notice->say(NoticeBar::Trouble, line); });
}

void MainWindow::wireBoard()
{
    connect(m_board, &DriftBoard::branchChosen, this, [this](const std::string& ref) {
        const Ref* found = m_session->snapshot() ? m_session->snapshot()->findRef(ref) : nullptr;
        if (found && found->row != noRow)
            m_graph->goTo(found->row);
        updateActions();
    });
    connect(m_board, &DriftBoard::focusRequested, this, [this](const std::string& ref) {
        const Ref* found = m_session->snapshot() ? m_session->snapshot()->findRef(ref) : nullptr;
        if (found && found->row != noRow)
            m_graph->focusOn(found->row);
    });
    connect(m_board, &DriftBoard::replayRequested, this, &MainWindow::startReplay);
    connect(m_board, &DriftBoard::replayOntoRequested, this, &MainWindow::askReplayOnto);
    connect(m_board, &DriftBoard::checkOutRequested, this, &MainWindow::askCheckOut);
    connect(m_board, &DriftBoard::renameRequested, this, &MainWindow::askRename);
    connect(m_board, &DriftBoard::deleteRequested, this, &MainWindow::askDelete);
    connect(m_board, &DriftBoard::cleanUpRequested, this, &MainWindow::showCleanUp);
    connect(m_board, &DriftBoard::pushRequested, this, [this](const std::string& ref) {
        if (const std::string branch = shortBranchName(ref); !branch.empty())
            checkAndPush(branch);
    });
    // While something is dragged, from wherever: the history gathers, and every place that names a base takes a drop.
    const auto begin = [this](const DragSource& what) {
        m_places->offerDrops(what);
        m_board->offerDrops(what);
    };
    const auto end = [this] {
        m_places->withdrawDrops();
        m_board->withdrawDrops();
    };
    connect(m_graph, &GraphView::dragBegan, this, begin);
    connect(m_graph, &GraphView::dragEnded, this, end);
    connect(m_board, &DriftBoard::dragBegan, this, begin);
    connect(m_board, &DriftBoard::dragBegan, m_graph, &GraphView::gatherFor);
    connect(m_board, &DriftBoard::dragEnded, this, end);
    connect(m_board, &DriftBoard::dragEnded, this, [this](bool taken) {
        if (taken)
            m_graph->holdGathered();
        else
            m_graph->scatter();
    });
    connect(m_places, &PlacesStrip::replayRequested, this, &MainWindow::startReplay);
    connect(m_places, &PlacesStrip::fetchRequested, m_session, &Session::fetch);
    connect(m_places, &PlacesStrip::bringUpToDateRequested, m_session, &Session::bringUpToDate);
    connect(m_places, &PlacesStrip::pushRequested, this, &MainWindow::checkAndPush);
    connect(m_places, &PlacesStrip::addUpstreamRequested, this, &MainWindow::askUpstream);
    connect(m_places, &PlacesStrip::rolesRequested, this, &MainWindow::askRoles);
}

void MainWindow::wireReplay()
{
    connect(m_dryRun, &DryRunPage::ghostChanged, m_graph, &GraphView::setGhost);
    connect(m_dryRun, &DryRunPage::settleRequested, this, [this] {
        showPage(m_settle);
        m_settle->begin();
    });
    connect(m_dryRun, &DryRunPage::commitChosen, m_graph, &GraphView::goToId);
    connect(m_dryRun, &DryRunPage::walkthroughRequested, this, [this](const DryRunPtr& run) {
        if (!run)
            return;
        m_walkthrough->showRun(*run);
        showPage(m_walkthrough);
    });
    const auto away = [this] {
        m_graph->setGhost({});
        m_graph->scatter();
        const bool had = m_dryRun->isAncestorOf(focusWidget());
        m_lower->setCurrentWidget(m_commit);
        if (had)
            m_board->setFocus(Qt::OtherFocusReason);
        if (m_pages->currentWidget() == m_settle)
            showWorkbench();
    };
    connect(m_dryRun, &DryRunPage::closed, this, away);
    connect(m_flow, &ReplayFlow::closed, this, away);
    // The page where the user acts says it; the window does where no such page is to be seen.
    connect(m_flow, &ReplayFlow::failed, this, [this](const QString& line) {
        if (!m_dryRun->isVisible() && !m_settle->isVisible())
            m_notice->say(NoticeBar::Trouble, line);
    });
    connect(m_flow, &ReplayFlow::applied, this, [this, away](const Applied& done) {
        away();
        offerPush(done);
    });
    connect(m_settle, &SettlePage::allSettled, this, [this] {
        showWorkbench();
        m_lower->setCurrentWidget(m_dryRun);
        m_dryRun->focusApply();
    });
    connect(m_settle, &SettlePage::closed, this, &MainWindow::showWorkbench);
}

void MainWindow::wirePages()
{
    connect(m_overwrite, &OverwritePage::closed, this, &MainWindow::showWorkbench);
    connect(m_overwrite, &OverwritePage::commitChosen, this, &MainWindow::showCommit);
    connect(m_logbook, &LogbookPage::closed, this, &MainWindow::showWorkbench);
    connect(m_logbook, &LogbookPage::commitChosen, this, &MainWindow::showCommit);
    connect(m_cleanUp, &CleanUpPage::closed, this, &MainWindow::showWorkbench);
    for (QWidget* page :
         {static_cast<QWidget*>(m_overwrite), static_cast<QWidget*>(m_logbook), static_cast<QWidget*>(m_cleanUp)})
        connect(new QShortcut(Qt::Key_Escape, page, nullptr, nullptr, Qt::WidgetWithChildrenShortcut),
                &QShortcut::activated, this, &MainWindow::showWorkbench);
    connect(m_walkthrough, &WalkthroughPage::closed, this, &MainWindow::showWorkbench);
}

} // namespace espalier
