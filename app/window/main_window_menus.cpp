// SPDX-License-Identifier: MIT
//
// The window's menus and what they ask before they act.
#include "app/drift/drift_board.h"
#include "app/history/commit_panel.h"
#include "app/history/graph_view.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "app/window/dialogs.h"
#include "app/window/main_window.h"
#include "app/window/start_page.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"
#include "core/samples/samples.h"

#include <QFileDialog>
#include <QMenu>
#include <QMenuBar>
#include <QMessageBox>
#include <QSettings>
#include <QStackedWidget>

namespace espalier {

namespace {

constexpr qsizetype recentKept = 12;

} // namespace

QAction* MainWindow::add(QMenu* menu, const QString& text, const QKeySequence& key, std::function<void()> act,
                         bool needsRepository)
{
    QAction* action = menu->addAction(text);
    action->setShortcut(key);
    connect(action, &QAction::triggered, this, [act = std::move(act)] { act(); });
    if (needsRepository)
        m_needRepository.push_back(action);
    return action;
}

void MainWindow::buildMenus()
{
    buildRepositoryMenu();
    buildHistoryMenu();
    buildBranchMenu();
    buildPlacesMenu();
    buildTextMenu();
    buildHelpMenu();
}

void MainWindow::buildRepositoryMenu()
{
    QMenu* menu = menuBar()->addMenu(tr("&Repository"));
    add(menu, tr("&Open…"), QKeySequence::Open, [this] { askOpen(); }, false);
    add(menu, tr("&Clone…"), {}, [this] { askClone(); }, false);
    m_recentMenu = menu->addMenu(tr("Open &before"));
    QMenu* samples = menu->addMenu(tr("&Sample repositories"));
    for (const SampleInfo& sample : listSamples()) {
        QAction* action = samples->addAction(toCaption(toText(sample.name)));
        action->setStatusTip(toText(sample.summary));
        connect(action, &QAction::triggered, this, [this, name = toText(sample.name)] { openSample(name); });
    }
    add(menu, tr("S&tart page"), {}, [this] { showStart(); }, false);
    menu->addSeparator();
    add(menu, tr("&Refresh"), QKeySequence::Refresh, [this] { m_session->refresh(true); });
    menu->addSeparator();
    add(menu, tr("&Quit"), QKeySequence::Quit, [this] { close(); }, false);
    showRecent();
}

void MainWindow::buildHistoryMenu()
{
    QMenu* menu = menuBar()->addMenu(tr("&History"));
    m_finding.push_back(add(menu, tr("&Find"), QKeySequence::Find, [this] {
        showWorkbench();
        m_graph->focusFilter();
    }));
    m_finding.push_back(add(menu, tr("&Next match"), QKeySequence::FindNext, [this] { m_graph->findNext(); }));
    m_finding.push_back(
        add(menu, tr("&Previous match"), QKeySequence::FindPrevious, [this] { m_graph->findPrevious(); }));
    menu->addSeparator();
    add(menu, tr("&Go to…"), QKeySequence(Qt::Key_F4), [this] { askGoTo(); });
    add(menu, tr("Go to the &merge base"), QKeySequence(Qt::SHIFT | Qt::Key_F4), [this] { goToMergeBase(); });
    // The graph's own keys, shown where one looks for them; the menu does not take them from a text that has the focus.
    QAction* next = add(menu, tr("Ne&xt commit of this place"), QKeySequence(Qt::CTRL | Qt::Key_Down),
                        [this] { m_graph->goToNextOfPlace(1); });
    QAction* previous = add(menu, tr("P&revious commit of this place"), QKeySequence(Qt::CTRL | Qt::Key_Up),
                            [this] { m_graph->goToNextOfPlace(-1); });
    for (QAction* action : {next, previous})
        action->setShortcutContext(Qt::WidgetShortcut);
    menu->addSeparator();
    add(menu, tr("F&ocus on the chosen commit's branch"), {}, [this] { m_graph->focusOn(m_graph->currentRow()); });
    QAction* fold = add(menu, tr("Fo&ld quiet stretches"), {}, [] {});
    fold->setCheckable(true);
    connect(fold, &QAction::toggled, this, [this](bool on) {
        if (on != m_graph->isFolded())
            m_graph->setFolded(on);
    });
    connect(menu, &QMenu::aboutToShow, fold, [this, fold] { fold->setChecked(m_graph->isFolded()); });
    add(menu, tr("Show &everything"), {}, [this] { m_graph->focusOn(noRow); });
    menu->addSeparator();
    add(menu, tr("Comp&are with…"), {}, [this] { askCompare(); });
    add(menu, tr("&Copy the commit as a patch"), {}, [this] { m_commit->copyPatch(); });
    add(menu, tr("Log&book"), QKeySequence(Qt::Key_F9), [this] { showLogbook(); });
}

void MainWindow::askGoTo()
{
    const SnapshotPtr snapshot = m_session->snapshot();
    if (!snapshot)
        return;
    if (const auto chosen = dialogs::chooseCommit(this, tr("Go to"), tr("Go there"), *snapshot)) {
        showWorkbench();
        m_graph->goToId(*chosen);
        m_graph->setFocus();
    }
}

// The pointer may choose two commits anywhere in the graph; by key, the second one is named.
void MainWindow::askCompare()
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Row current = m_graph->currentRow();
    if (!snapshot || current == noRow)
        return;
    const Oid here = snapshot->history.id(current);
    const QString title = tr("Compare %1 with").arg(QString::fromStdString(here.brief()));
    const auto other = dialogs::chooseCommit(this, title, tr("Compare"), *snapshot);
    if (!other || *other == here)
        return;
    const bool older = snapshot->history.find(*other) > current;
    Q_EMIT m_graph->compareRequested(older ? *other : here, older ? here : *other);
}

// Of the two commits that are selected, or of the chosen one and the main line.
void MainWindow::goToMergeBase()
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* main = snapshot ? snapshot->mainLineRef() : nullptr;
    const std::vector<Row> selected = m_graph->selectedRows();
    if (!main || selected.empty())
        return;
    const bool pair = selected.size() == 2;
    const std::vector<Row> bases = snapshot->history.mergeBases(selected[0], pair ? selected[1] : main->row);
    if (bases.empty()) {
        m_notice->say(NoticeBar::Info, pair ? tr("The two commits have no ancestor in common.")
                                            : tr("This commit and the main line have no ancestor in common."));
        return;
    }
    showWorkbench();
    m_graph->goTo(bases.front());
    m_graph->setFocus();
}

void MainWindow::buildBranchMenu()
{
    QMenu* menu = menuBar()->addMenu(tr("&Branch"));
    const auto about = [&](const QString& text, const QKeySequence& key, void (MainWindow::*ask)(const std::string&)) {
        QAction* action = add(menu, text, key, [this, ask] {
            if (const std::string ref = chosenBranch(); !ref.empty())
                (this->*ask)(ref);
        });
        m_needBranch.push_back(action);
    };
    about(tr("&Replay onto…"), QKeySequence(Qt::Key_F7), &MainWindow::askReplayOnto);
    QAction* push = add(menu, tr("&Push…"), QKeySequence(Qt::SHIFT | Qt::Key_F7),
                        [this] { checkAndPush(std::string(branchOrRef(chosenBranch()))); });
    m_needBranch.push_back(push);
    about(tr("Compare with the fork's &version"), {}, &MainWindow::compareWithFork);
    menu->addSeparator();
    about(tr("&Check out"), {}, &MainWindow::askCheckOut);
    add(menu, tr("&New branch…"), {}, [this] {
        const SnapshotPtr snapshot = m_session->snapshot();
        if (const Row row = m_graph->currentRow(); snapshot && row != noRow)
            askNewBranch(snapshot->history.id(row));
    });
    about(tr("Rena&me…"), {}, &MainWindow::askRename);
    about(tr("&Delete…"), {}, &MainWindow::askDelete);
    menu->addSeparator();
    add(menu, tr("Clean &up…"), {}, [this] { showCleanUp(); });
}

void MainWindow::compareWithFork(const std::string& ref)
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* own = snapshot ? snapshot->findRef(ref) : nullptr;
    const Ref* fork = own ? snapshot->forkCopy(own->branch) : nullptr;
    if (!own || own->row == noRow)
        return;
    if (!fork || fork->row == noRow || fork->row == own->row) {
        m_notice->say(NoticeBar::Info, fork ? tr("The fork holds the same version of %1.").arg(toText(own->branch))
                                            : tr("The fork has no copy of %1.").arg(toText(own->branch)));
        return;
    }
    showWorkbench();
    m_lower->setCurrentWidget(m_commit);
    m_commit->compareVersions(fork->tip, own->tip);
}

void MainWindow::buildPlacesMenu()
{
    QMenu* menu = menuBar()->addMenu(tr("&Places"));
    add(menu, tr("&Fetch"), {}, [this] { m_session->fetchAll(); });
    add(menu, tr("&Bring up to date"), {}, [this] { m_session->bringUpToDate(); });
    menu->addSeparator();
    add(menu, tr("&Add upstream…"), {}, [this] { askUpstream(); });
    add(menu, tr("&Which remote is which…"), {}, [this] { askRoles(); });
}

// What the settle page does in its text. While it is there, the same keys are not the history's.
void MainWindow::buildTextMenu()
{
    QMenu* menu = menuBar()->addMenu(tr("Te&xt"));
    menu->addActions(m_settle->textActions());
    connect(m_pages, &QStackedWidget::currentChanged, this, [this] { updateActions(); });
}

void MainWindow::buildHelpMenu()
{
    QMenu* menu = menuBar()->addMenu(tr("H&elp"));
    add(menu, tr("&Walkthrough"), QKeySequence::HelpContents, [this] { showWalkthrough(); }, false);
    add(
        menu, tr("&About Espalier"), {},
        [this] {
            QMessageBox box(this);
            box.setWindowTitle(tr("About Espalier"));
            box.setTextFormat(Qt::PlainText);
            box.setText(tr("Espalier %1\n\nClone, fork and upstream as one history. MIT licence.")
                            .arg(QStringLiteral(ESPALIER_VERSION)));
            box.setIconPixmap(windowIcon().pixmap(64, 64));
            box.exec();
        },
        false);
}

std::string MainWindow::chosenBranch() const
{
    const SnapshotPtr snapshot = m_session->snapshot();
    if (!snapshot)
        return {};
    for (const std::string& ref : {m_board->selected(), snapshot->worktree.headBranch})
        if (const Ref* found = snapshot->findRef(ref); found && found->kind == RefKind::Branch)
            return ref;
    return {};
}

void MainWindow::updateActions()
{
    const bool open = m_session->isOpen();
    for (QAction* action : m_needRepository)
        action->setEnabled(open);
    for (QAction* action : m_finding)
        action->setEnabled(open && m_pages->currentWidget() != m_settle);
    const bool branch = open && !chosenBranch().empty();
    for (QAction* action : m_needBranch)
        action->setEnabled(branch);
}

void MainWindow::askReplayOnto(const std::string& ref)
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* branch = snapshot ? snapshot->findRef(ref) : nullptr;
    if (!branch)
        return;
    const QString label = toText(branch->shortName);
    const auto onto = dialogs::chooseBase(this, tr("Replay %1 onto").arg(label), *snapshot, ref);
    if (onto)
        startReplay(DragSource{ref, {}, branch->tip, true, label}, *onto);
}

void MainWindow::askCheckOut(const std::string& ref)
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* found = snapshot ? snapshot->findRef(ref) : nullptr;
    if (!found)
        return;
    if (found->kind == RefKind::Branch) {
        m_session->checkOut(found->branch);
    } else if (found->kind == RefKind::RemoteBranch) {
        // Work happens on a branch of the clone.
        const auto answer = dialogs::askBranchName(this, tr("New branch"),
                                                   tr("A branch of the clone for %1.").arg(toText(found->shortName)),
                                                   toText(found->branch), *snapshot, false);
        if (answer)
            m_session->createBranch(answer->branch, found->tip, true);
    }
}

void MainWindow::askNewBranch(const Oid& at)
{
    if (!m_session->snapshot())
        return;
    const auto answer = dialogs::askBranchName(this, tr("New branch"), tr("At commit %1.").arg(toText(at.brief())),
                                               QStringLiteral("topic/"), *m_session->snapshot(), true);
    if (answer)
        m_session->createBranch(answer->branch, at, answer->checkOut);
}

void MainWindow::askRename(const std::string& ref)
{
    if (!m_session->snapshot())
        return;
    const std::string old = std::string(branchOrRef(ref));
    const auto answer = dialogs::askBranchName(
        this, tr("Rename"), tr("The new name of %1. The fork's copy keeps its own.").arg(toText(old)), toText(old),
        *m_session->snapshot(), false);
    if (answer)
        m_session->renameBranch(old, answer->branch);
}

void MainWindow::askDelete(const std::string& ref)
{
    const std::string branch = std::string(branchOrRef(ref));
    if (dialogs::confirm(
            this, tr("Delete"),
            tr("Delete %1 in the clone? Its tip is kept: the logbook can bring it back. The fork's copy stays.")
                .arg(toText(branch)),
            tr("Delete")))
        m_session->deleteBranch(branch);
}

void MainWindow::askUpstream()
{
    if (!m_session->snapshot())
        return;
    if (const auto answer = dialogs::askUpstream(this, *m_session->snapshot()))
        m_session->addRemote(answer->name, answer->url, true);
}

void MainWindow::askRoles()
{
    if (!m_session->snapshot())
        return;
    if (const auto answer = dialogs::askRoles(this, *m_session->snapshot()))
        m_session->setRoles(answer->upstream, answer->fork);
}

void MainWindow::askOpen()
{
    const QString path = QFileDialog::getExistingDirectory(this, tr("Open a repository"));
    if (!path.isEmpty())
        openRepository(path);
}

void MainWindow::askClone()
{
    const auto answer = dialogs::askClone(this);
    if (!answer)
        return;
    const auto job = [answer = *answer, access = dialogs::accessFor(this)](const Progress& progress) {
        return cloneRepository(toBytes(answer.url), std::filesystem::path(toBytes(answer.folder)), access, progress);
    };
    startWork<std::filesystem::path>(this, tr("Cloning"), job, [this](Result<std::filesystem::path> cloned) {
        if (cloned)
            openRepository(QString::fromStdString(cloned->string()));
        else
            m_session->failed(toText(cloned.error().line()));
    });
}

void MainWindow::remember(const QString& path)
{
    m_recent.removeAll(path);
    m_recent.prepend(path);
    m_recent = m_recent.mid(0, recentKept);
    if (m_keepsLayout)
        QSettings().setValue(QStringLiteral("recent"), m_recent);
    showRecent();
}

void MainWindow::forget(const QString& path)
{
    m_recent.removeAll(path);
    if (m_keepsLayout)
        QSettings().setValue(QStringLiteral("recent"), m_recent);
    showRecent();
}

void MainWindow::showRecent()
{
    m_start->setRecent(m_recent);
    m_recentMenu->clear();
    m_recentMenu->setEnabled(!m_recent.isEmpty());
    for (const QString& path : m_recent) {
        QAction* action = m_recentMenu->addAction(toCaption(toText(path.toStdString())));
        connect(action, &QAction::triggered, this, [this, path] { openRepository(path); });
    }
}

} // namespace espalier
