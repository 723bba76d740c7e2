// SPDX-License-Identifier: MIT
#include "tests/pictures/all_pages.h"

#include "app/drift/clean_up_page.h"
#include "app/dryrun/dry_run_page.h"
#include "app/history/commit_panel.h"
#include "app/history/filter_bar.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/dialogs.h"
#include "app/window/start_page.h"
#include "tests/pictures/pictures.h"

#include <QApplication>
#include <QListWidget>
#include <QPushButton>
#include <QTreeView>
#include <QTreeWidget>
#include <QtTest>

namespace espalier::pictures {

namespace {

// Upstream deleted a page that the topic changed, and the topic has a commit with nothing left of it.
constexpr const char* deletedUpstream = R"(summary A page deleted upstream and changed by the topic
include tidebook
commit drop after release by ana at 2026-03-02 10:20
  subject Keep the stations in the database only
  delete docs/stations.md
commit rounding after drop by teo at 2026-03-03 10:20
  subject Name the rounding in the readme
  replace README.md
  - ## Build
  + Heights are rounded to one decimal.
  +
  + ## Build
commit lune after release by mira at 2026-02-27 20:15
  subject Add Port Lune to the stations
  replace docs/stations.md
  - | neap | Neap Sound | 1960 |
  + | neap | Neap Sound | 1960 |
  + | lune | Port Lune | 1971 |
commit same-rounding after lune by mira at 2026-02-28 20:15
  subject Say how heights are rounded
  replace README.md
  - ## Build
  + Heights are rounded to one decimal.
  +
  + ## Build
ref upstream main rounding
ref fork main release
ref clone main release
ref clone topic/more-stations same-rounding
checkout topic/more-stations
)";

void startPages(MainWindow& window, Pictures& pictures)
{
    pictures.take(QStringLiteral("start-first-time"));
    window.startPage()->setRecent(
        {QStringLiteral("/home/mira/src/tidebook"), QStringLiteral("/home/mira/src/harbour-lab/almanac"),
         QStringLiteral("/srv/work/a-repository-with-quite-a-long-name/of-a-path/that/goes/on")});
    window.startPage()->setKept({QStringLiteral("same-lines"), QStringLiteral("stacked")},
                                QStringLiteral("~/.local/share/espalier/samples"));
    window.startPage()->samples()->setCurrentRow(3);
    pictures.take(QStringLiteral("start"));
    pictures.takeDialog(
        QStringLiteral("clone-dialog"), [&] { dialogs::askClone(&window); },
        QStringLiteral("https://code.example/mira/tidebook.git"));
    window.openRepository(QStringLiteral("/nowhere/at/all"));
    waitFor([&] { return !window.notice()->line().isEmpty(); }, QStringLiteral("the error"));
    pictures.take(QStringLiteral("start-error"));
    window.notice()->clear();
}

void workbench(MainWindow& window, Pictures& pictures, const Scratch& samples)
{
    for (const char* name : {"moved-upstream", "already-landed", "hostile"}) {
        openIn(window, buildIn(samples, QLatin1String(name)));
        pictures.take(QStringLiteral("workbench-%1").arg(QLatin1String(name)));
    }
    openIn(window, buildIn(samples, QStringLiteral("same-lines")));
    selectBranch(window, "topic/metric-heights");
    pictures.take(QStringLiteral("workbench"));
    window.graph()->goToId(window.session()->snapshot()->findByAnyName("upstream/main")->tip);
    waitFor([&] { return window.commitPanel()->findChild<QTreeWidget*>()->topLevelItemCount() > 0; },
            QStringLiteral("the files"));
    pictures.take(QStringLiteral("commit-panel"));
    selectBranch(window, "topic/metric-heights");
    window.graph()->focusOn(window.graph()->currentRow());
    pictures.take(QStringLiteral("workbench-focused"));
    window.graph()->focusOn(noRow);
    window.graph()->setFolded(true);
    pictures.take(QStringLiteral("workbench-folded"));
    window.graph()->setFolded(false);
    auto* filter = window.graph()->findChild<FilterBar*>();
    filter->setText(QStringLiteral("heights"));
    QTest::qWait(500); // typing is waited for before the search begins
    pictures.take(QStringLiteral("workbench-search"));
    filter->setText({});
    QTest::qWait(500);
    selectBranch(window, "topic/metric-heights");
    pictures.takeDialog(QStringLiteral("remotes-dialog"),
                        [&] { dialogs::askRoles(&window, *window.session()->snapshot()); });
    pictures.takeDialog(QStringLiteral("replay-onto-dialog"),
                        [&] { window.askReplayOnto("refs/heads/topic/metric-heights"); });
    pictures.takeDialog(
        QStringLiteral("go-to-dialog"),
        [&] {
            dialogs::chooseCommit(&window, MainWindow::tr("Go to"), MainWindow::tr("Go there"),
                                  *window.session()->snapshot());
        },
        QString::fromStdString(window.session()->snapshot()->mainLineRef()->tip.hex().substr(0, 5)));
    pictures.takeDialog(
        QStringLiteral("new-branch-dialog"),
        [&] {
            dialogs::askBranchName(&window, QStringLiteral("New branch"), QStringLiteral("At commit 4c19d02."),
                                   QStringLiteral("topic/"), *window.session()->snapshot(), true);
        },
        QStringLiteral("topic/moon-phase"));
    pictures.takeDrag(QStringLiteral("drag-ghost"), "topic/metric-heights");
}

void dryRunAndSettle(MainWindow& window, Pictures& pictures)
{
    replay(window, "topic/metric-heights");
    pictures.take(QStringLiteral("dry-run-conflicts"));
    auto* list = window.dryRunPage()->findChild<QTreeView*>(QStringLiteral("commits"));
    list->setCurrentIndex(list->model()->index(1, 0));
    click(window.dryRunPage(), QStringLiteral("Settle"));
    waitFor([&] { return window.settlePage()->findChild<QPushButton*>(QStringLiteral("new-base"))->isEnabled(); },
            QStringLiteral("the hunks"));
    pictures.take(QStringLiteral("settle-untouched"));
    decide(window, QStringLiteral("Yours, then new base"));
    click(window.settlePage(), QStringLiteral("Next undecided"));
    pictures.take(QStringLiteral("settle-half"));
    decide(window, QStringLiteral("Keep new base"));
    pictures.take(QStringLiteral("settle-all-decided"));
    applyAndPush(window, pictures, "topic/metric-heights", QStringLiteral("workbench-applied"),
                 QStringLiteral("overwrite-pushed"));
    window.showWorkbench();
}

// A worktree in which somebody is at work, and a hook that takes its time.
void localChangesAndHook(MainWindow& window, Pictures& pictures, const Scratch& samples)
{
    const QString clone = samples.path() + QStringLiteral("/moved-upstream/clone");
    const auto write = [](const QString& path, const QByteArray& text) {
        QFile file(path);
        if (file.open(QIODevice::WriteOnly))
            file.write(text);
    };
    openIn(window, clone);
    write(clone + QStringLiteral("/notes.txt"), "to be sorted out\n");
    write(clone + QStringLiteral("/README.md"), "rewritten\n");
    waitFor([&] { return window.session()->localChanges() && window.session()->localChanges()->changed > 0; },
            QStringLiteral("the local changes"));
    pictures.take(QStringLiteral("workbench-local-changes"));
    Work work(&window, MainWindow::tr("Applying"));
    work.progress().report("Running the hook post-rewrite");
    Q_EMIT WorkBoard::instance()->began(&work);
    QTest::qWait(500);
    pictures.take(QStringLiteral("workbench-hook"));
    Q_EMIT work.ended();
}

void otherDryRuns(MainWindow& window, Pictures& pictures, const Scratch& samples)
{
    openIn(window, buildIn(samples, QStringLiteral("stacked")));
    pictures.take(QStringLiteral("workbench-stacked"));
    replay(window, "topic/moon-phase-icons");
    pictures.take(QStringLiteral("dry-run-stacked"));
    window.flow()->close();
    openIn(window, samples.path() + QStringLiteral("/already-landed/clone"));
    replay(window, "topic/typo-sweep");
    pictures.take(QStringLiteral("dry-run-landed"));
    window.flow()->close();
    window.showCleanUp();
    waitFor([&] { return window.cleanUpPage()->list()->topLevelItemCount() > 0; }, QStringLiteral("what has landed"));
    pictures.take(QStringLiteral("clean-up"));
    window.showWorkbench();
    openIn(window, buildFromText(samples, QStringLiteral("deleted"), deletedUpstream));
    window.showCleanUp();
    settleDown();
    pictures.take(QStringLiteral("clean-up-nothing"));
    window.showLogbook();
    pictures.take(QStringLiteral("logbook-empty"));
    window.showWorkbench();
    replay(window, "topic/more-stations");
    pictures.take(QStringLiteral("dry-run-whole-path"));
    beginSettling(window);
    pictures.take(QStringLiteral("settle-whole-path"));
    window.showWorkbench();
    window.flow()->close();
}

void overwriteForeign(MainWindow& window, Pictures& pictures, const Scratch& samples)
{
    openIn(window, buildIn(samples, QStringLiteral("someone-pushed")));
    pictures.take(QStringLiteral("workbench-someone-pushed"));
    window.checkAndPush("topic/spring-warning");
    waitFor([&] { return window.currentPage() == window.overwritePage(); }, QStringLiteral("the overwrite check"));
    pictures.take(QStringLiteral("overwrite-foreign"));
    window.overwritePage()->showRefused(QStringLiteral("The fork's topic/spring-warning moved since the check."));
    pictures.take(QStringLiteral("overwrite-refused"));
    window.showWorkbench();
    Q_EMIT window.session()->failed(QStringLiteral(
        "Cannot apply topic/spring-warning: core/spring.cpp has changes of yours that the checkout would "
        "overwrite. Commit them or set them aside, then apply again."));
    pictures.take(QStringLiteral("workbench-error"));
    window.notice()->clear();
}

void walkthrough(MainWindow& window, Pictures& pictures)
{
    window.showWalkthrough();
    for (int step = 0; step < window.walkthroughPage()->stepCount(); ++step) {
        window.walkthroughPage()->setStep(step);
        QTest::qWait(600); // its movement
        pictures.take(QStringLiteral("walkthrough-%1").arg(step + 1));
    }
}

} // namespace

std::vector<Appearance> appearances()
{
    std::vector<Appearance> all;
    for (const bool dark : {false, true}) {
        const QString scheme = dark ? QStringLiteral("dark") : QStringLiteral("light");
        all.push_back({.name = scheme, .dark = dark});
        all.push_back({.name = scheme + QStringLiteral("-125"), .dark = dark, .scale = QStringLiteral("1.25")});
        all.push_back(
            {.name = scheme + QStringLiteral("-200"), .dark = dark, .size = {1280, 800}, .scale = QStringLiteral("2")});
        all.push_back({.name = scheme + QStringLiteral("-small"), .dark = dark, .size = {1024, 700}});
        all.push_back({.name = scheme + QStringLiteral("-big"), .dark = dark, .size = {1920, 1200}});
        all.push_back({.name = scheme + QStringLiteral("-font"), .dark = dark, .points = 14});
    }
    return all;
}

void takeAllPages(const QString& folder, const Appearance& look)
{
    if (look.points > 0) {
        QFont font = QApplication::font();
        font.setPointSize(look.points);
        QApplication::setFont(font);
    }
    theme::apply(*qApp, look.dark ? theme::Scheme::Dark : theme::Scheme::Light);
    const Scratch samples;
    MainWindow window;
    window.resize(look.size);
    window.show();
    Pictures pictures(window, folder + QLatin1Char('/') + look.name, {});
    startPages(window, pictures);
    workbench(window, pictures, samples);
    dryRunAndSettle(window, pictures);
    localChangesAndHook(window, pictures, samples);
    otherDryRuns(window, pictures, samples);
    overwriteForeign(window, pictures, samples);
    walkthrough(window, pictures);
}

} // namespace espalier::pictures
