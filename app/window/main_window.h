// SPDX-License-Identifier: MIT
//
// The window: the pages, what each asks for, and who answers. It holds the session and the one replay that is under way;
// the pages are views of those.
//
//     MainWindow window;
//     window.restoreLayout();
//     window.show();
//     window.openRepository("/home/mira/src/tidebook");
#pragma once

#include "app/session/session.h"
#include "app/support/drag.h"

#include <QMainWindow>
#include <QPointer>

#include <vector>

class QProgressBar;
class QPushButton;
class QSplitter;
class QStackedWidget;

namespace espalier {

class CleanUpPage;
class CommitPanel;
class DriftBoard;
class DryRunPage;
class GraphView;
class LogbookPage;
class NoticeBar;
class OverwritePage;
class PlacesStrip;
class PlainLabel;
class ReplayFlow;
class SettlePage;
class StartPage;
class WalkthroughPage;
class Work;

class MainWindow : public QMainWindow {
    Q_OBJECT
  public:
    explicit MainWindow(QWidget* parent = nullptr);
    ~MainWindow() override;

    // Opens in the background; what cannot be opened is said in one line and the start page stays.
    void openRepository(const QString& path);
    // Opens the clone of a sample as it was left, or builds it first, in a folder of the user's data.
    void openSample(const QString& name);

    // Takes up geometry, splitters and the list of last repositories, and keeps them from now on. Not for tests.
    void restoreLayout();

    // For the tests and the pictures.
    Session* session() const { return m_session; }
    ReplayFlow* flow() const { return m_flow; }
    NoticeBar* notice() const { return m_notice; }
    PlacesStrip* places() const { return m_places; }
    GraphView* graph() const { return m_graph; }
    DriftBoard* driftBoard() const { return m_board; }
    CommitPanel* commitPanel() const { return m_commit; }
    DryRunPage* dryRunPage() const { return m_dryRun; }
    SettlePage* settlePage() const { return m_settle; }
    OverwritePage* overwritePage() const { return m_overwrite; }
    LogbookPage* logbookPage() const { return m_logbook; }
    CleanUpPage* cleanUpPage() const { return m_cleanUp; }
    WalkthroughPage* walkthroughPage() const { return m_walkthrough; }
    StartPage* startPage() const { return m_start; }
    // The page that fills the window now; the workbench holds board, graph and lower pane.
    QWidget* currentPage() const;
    QWidget* workbench() const { return m_workbench; }

  public Q_SLOTS:
    void showWorkbench();
    void showLogbook();
    void showCleanUp();
    void showWalkthrough();
    // The page that the window begins with; what is open stays open.
    void showStart();
    // Plans, and opens the dry run on the plan.
    void startReplay(const espalier::DragSource& what, const espalier::DropTarget& dropped);
    // Asks for the new base of a branch first.
    void askGoTo();
    void askCompare();
    void goToMergeBase();
    void askReplayOnto(const std::string& ref);
    // Opens the overwrite check of a branch of the clone (without refs/heads/).
    void checkAndPush(const std::string& branch);
    // Of several that moved together, the one that is asked about first.
    void checkAndPushTogether(const std::vector<std::string>& branches);

  protected:
    bool event(QEvent* event) override;
    void closeEvent(QCloseEvent* event) override;

  private:
    void buildPages();
    void buildStatus();
    void buildMenus();
    void buildRepositoryMenu();
    void buildHistoryMenu();
    void buildBranchMenu();
    void buildPlacesMenu();
    void buildTextMenu();
    void buildHelpMenu();
    void wireSession();
    void wireGraph();
    void wireBoard();
    void wireReplay();
    void wirePages();
    void wireStart();

    // Shows a page and gives it the keyboard.
    void showPage(QWidget* page);
    void takeUpSnapshot();
    // What the graph shows of a repository (folds, focus, columns) is kept for the next time; main_window_state.cpp.
    void keepGraphState() const;
    QByteArray savedGraphState() const;
    // What the session's repository looked like when it was open last; an empty look when that is not known.
    Look savedLook() const;
    void updateActions();
    // What is chosen in the graph, in the panel below it.
    void showChosen();
    void showStanding();
    void offerMoveToTopic(int ownCommits);
    void offerPush(const Applied& applied);
    void showCommit(const Oid& id);
    void compareWithFork(const std::string& ref);
    void showWork(Work* work);
    Work* shownWork() const;
    void updateStatus();
    void cyclePanes();

    void askOpen();
    void askClone();
    void askCheckOut(const std::string& ref);
    void askNewBranch(const Oid& at);
    void askRename(const std::string& ref);
    void askDelete(const std::string& ref);
    void askUpstream();
    void askRoles();
    void askRemoveSample(const QString& name);
    void findKeptSamples();
    void remember(const QString& path);
    void forget(const QString& path);
    void showRecent();
    // The branch that a command of the menu is about: the board's row, else what is checked out; empty when none.
    std::string chosenBranch() const;
    QAction* add(QMenu* menu, const QString& text, const QKeySequence& key, std::function<void()> act,
                 bool needsRepository = true);

    Session* m_session;
    ReplayFlow* m_flow;
    NoticeBar* m_notice;
    PlacesStrip* m_places;
    GraphView* m_graph;
    DriftBoard* m_board;
    CommitPanel* m_commit;
    DryRunPage* m_dryRun;
    SettlePage* m_settle;
    OverwritePage* m_overwrite;
    LogbookPage* m_logbook;
    CleanUpPage* m_cleanUp;
    WalkthroughPage* m_walkthrough;
    StartPage* m_start;
    QWidget* m_workbench;
    QStackedWidget* m_pages;
    QStackedWidget* m_lower;
    QSplitter* m_columns;
    QSplitter* m_rows;
    PlainLabel* m_workTitle;
    QProgressBar* m_workBar;
    QPushButton* m_workStop;
    QMenu* m_recentMenu = nullptr;
    QList<Work*> m_shownWorks; // that have lasted, oldest first
    std::vector<QAction*> m_needRepository;
    std::vector<QAction*> m_needBranch;
    std::vector<QAction*> m_finding; // in the history
    QStringList m_recent;
    // Full name of the branch that the next snapshot's graph goes to.
    std::string m_showNext;
    bool m_keepsLayout = false;
    // A repository was asked for and has not been shown yet.
    bool m_opening = false;
};

} // namespace espalier
