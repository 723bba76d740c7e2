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
#include "core/conflicts/commit_conflicts.h"
#include "tests/pictures/pictures.h"
#include "tests/pictures/settle_pictures.h"

#include <QApplication>
#include <QCheckBox>
#include <QListWidget>
#include <QPushButton>
#include <QToolButton>
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

// A branch in two versions, with a commit of every kind: lost, edited, reworded, the same, moved, landed, new.
constexpr const char* everyOverwrite = R"(summary A new version with a commit of every kind
include tidebook
person jo Jo Kerr <jo@kerr.example> +0100
commit harbour after release by mira at 2026-02-20 20:15
  subject Add the harbour's opening hours
  write docs/hours.md
  | # Opening hours
  |
  | From six to six.
commit tides after harbour by mira at 2026-02-21 20:15
  subject Round heights to one decimal
  write core/round.h
  | #pragma once
  |
  | inline double rounded(double height) { return int(height * 10) / 10.0; }
commit notes after tides by mira at 2026-02-22 20:15
  subject Describe the notes
  write docs/notes.md
  | # Notes
  |
  | A note stands beside a tide.
commit lamp after notes by mira at 2026-02-23 20:15
  subject Show where the lamp stands
  write docs/lamp.md
  | The lamp stands on the northern pier.
commit fog after lamp by mira at 2026-02-24 20:15
  subject Warn in fog
  write ui/fog.py
  | def warn(canvas):
  |     canvas.text("fog")
commit print after fog by mira at 2026-02-25 20:15
  subject Print two days on a page
  write ui/two_days.py
  | DAYS = 2
commit margin after print by jo at 2026-02-27 09:05
  subject Leave room for the binding
  replace ui/two_days.py
  - DAYS = 2
  + DAYS = 2
  + MARGIN = 12
commit lock after release by teo at 2026-03-02 10:00
  subject Describe the threads
  write docs/threads.md
  | # Threads
commit landed after lock by mira through ana at 2026-02-20 20:15
  subject Add the harbour's opening hours
  carry harbour
commit tides2 after landed by mira at 2026-02-21 20:15
  subject Round heights to one decimal
  write core/round.h
  | #pragma once
  |
  | #include <cmath>
  |
  | inline double rounded(double height) { return std::round(height * 10) / 10; }
commit lamp2 after tides2 by mira at 2026-02-23 20:15
  subject Show where the lamp stands
  carry lamp
commit notes2 after lamp2 by mira at 2026-02-22 20:15
  subject Describe the notes
  carry notes
commit fog2 after notes2 by mira at 2026-02-24 20:15
  subject Warn in fog
  body Asked for by the pilots.
  carry fog
commit print2 after fog2 by mira at 2026-02-25 20:15
  subject Print two days on a page
  carry print
commit paper after print2 by mira at 2026-03-02 20:15
  subject Say which paper is meant
  write docs/paper.md
  | A4, upright.
ref upstream main landed
ref fork main release
ref fork topic/two-days margin
ref seen-fork topic/two-days print
ref clone main landed
ref clone topic/two-days paper
ref clone topic/printing print
checkout topic/two-days
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
    // The same another time: what was settled before is offered.
    const auto repository = Repository::open(toBytes(window.session()->path()));
    const ReplayKey kept = replayKey(window.flow()->plan());
    waitFor([&] { return loadOpenSettlements(*repository, kept).files().size() == 2; }, QStringLiteral("the disk"));
    window.showWorkbench();
    window.flow()->close();
    (void)forgetOpenSettlements(*repository, kept);
    replay(window, "topic/metric-heights");
    beginSettling(window);
    waitFor([&] { return buttonOf(window.settlePage(), QStringLiteral("Take it")) != nullptr; },
            QStringLiteral("what is offered"));
    pictures.take(QStringLiteral("settle-offered"));
    decide(window, QStringLiteral("Take it"));
    click(window.settlePage(), QStringLiteral("Next undecided"));
    decide(window, QStringLiteral("Take it"));
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
    overwriteRead(window);
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

void overwriteEveryKind(MainWindow& window, Pictures& pictures, const Scratch& samples)
{
    openIn(window, buildFromText(samples, QStringLiteral("every-overwrite"), everyOverwrite));
    window.checkAndPush("topic/two-days");
    waitFor([&] { return window.currentPage() == window.overwritePage(); }, QStringLiteral("the overwrite check"));
    overwriteRead(window);
    auto* rows = window.overwritePage()->findChild<QTreeWidget*>(QStringLiteral("pairs"));
    rows->setFocus();
    pictures.take(QStringLiteral("overwrite-every-kind"));
    rows->setCurrentItem(rows->topLevelItem(rows->topLevelItemCount() - 2));
    QTest::qWait(500); // its difference
    pictures.take(QStringLiteral("overwrite-edited"));
    for (const auto& [part, name] : {std::pair(1, "overwrite-whole"), std::pair(2, "overwrite-standing")}) {
        window.overwritePage()->findChild<QToolButton*>(QStringLiteral("part-%1").arg(part))->click();
        pictures.take(QLatin1String(name));
    }
    window.overwritePage()->findChild<QToolButton*>(QStringLiteral("part-0"))->click();
    window.checkAndPushTogether({"topic/two-days", "topic/printing"});
    waitFor([&] { return window.overwritePage()->findChild<QCheckBox*>(QStringLiteral("choose-topic/printing")); },
            QStringLiteral("the check of both"));
    settleDown();
    pictures.take(QStringLiteral("overwrite-several"));
    window.showWorkbench();
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

void takeAllPages(const QString& folder, const Appearance& look, bool onlySettle)
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
    if (onlySettle) {
        takeSettleKinds(window, pictures, samples);
        return;
    }
    startPages(window, pictures);
    workbench(window, pictures, samples);
    dryRunAndSettle(window, pictures);
    localChangesAndHook(window, pictures, samples);
    otherDryRuns(window, pictures, samples);
    takeSettleKinds(window, pictures, samples);
    overwriteForeign(window, pictures, samples);
    overwriteEveryKind(window, pictures, samples);
    walkthrough(window, pictures);
}

} // namespace espalier::pictures
