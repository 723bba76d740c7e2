// SPDX-License-Identifier: MIT
//
// Drives the real window as a user would and saves numbered pictures of what it shows. A tool, not a test: people look at
// the pictures; packaging/try and the README use them.
//
//     make_pictures --job FOLDER             the main job on the sample same-lines, step by step
//     make_pictures --pages FOLDER           every page in every look: light and dark, scales, sizes, a bigger font
//     make_pictures --pages FOLDER LOOK…     in these looks only: light, dark, light-200, dark-small, …
//     make_pictures --repository PATH FOLDER [FILE]
//                                            a repository's history at rest, folded, focused and filtered, light and dark;
//                                            FILE is the path that is looked for
//     make_pictures --gathered PATH FOLDER BRANCH
//                                            the history of a clone that is far behind while BRANCH is dragged and in a
//                                            focus, with its local changes, in two sizes; QT_SCALE_FACTOR scales them
#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/logbook/logbook_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/theme.h"
#include "tests/pictures/all_pages.h"
#include "tests/pictures/pictures.h"
#include "tests/pictures/repository_pictures.h"

#include <QApplication>
#include <QProcess>
#include <QPushButton>
#include <QStandardPaths>
#include <QTreeWidget>
#include <QtTest>

#include <algorithm>
#include <cstdio>

using namespace espalier;
using namespace espalier::pictures;

namespace {

void decideAll(MainWindow& window, Pictures& pictures)
{
    for (const QString& choice : {QStringLiteral("Yours, then new base"), QStringLiteral("Keep new base")}) {
        decide(window, choice);
        pictures.take(QStringLiteral("settle-decided"));
        if (window.flow()->run()->undecided() > 0)
            click(window.settlePage(), QStringLiteral("Next undecided"));
    }
}

void theJob(const QString& folder)
{
    const Scratch samples;
    MainWindow window;
    window.resize(1400, 900);
    window.show();
    Pictures pictures(window, folder, {});
    pictures.take(QStringLiteral("start"));
    openIn(window, buildIn(samples, QStringLiteral("same-lines")));
    selectBranch(window, "topic/metric-heights");
    pictures.take(QStringLiteral("three-places"));
    pictures.takeDrag(QStringLiteral("drag"), "topic/metric-heights");
    replay(window, "topic/metric-heights");
    pictures.take(QStringLiteral("dry-run"));
    beginSettling(window);
    pictures.take(QStringLiteral("settle"));
    decideAll(window, pictures);
    QTreeWidget* entries =
        applyAndPush(window, pictures, "topic/metric-heights", QStringLiteral("applied"), QStringLiteral("pushed"));
    entries->setCurrentItem(entries->topLevelItem(1)); // the replay, below the push
    const int before = entries->topLevelItemCount();
    click(window.logbookPage(), QStringLiteral("Take back"));
    waitFor([&] { return entries->topLevelItemCount() > before; }, QStringLiteral("the way back"));
    window.showWorkbench();
    pictures.take(QStringLiteral("taken-back"));
}

// The scale is fixed when a program starts, so each look is a run of its own. Returns an exit status.
int runLooks(const QString& folder, const QStringList& wanted, bool onlySettle)
{
    for (const Appearance& look : appearances()) {
        if (!wanted.isEmpty() && !wanted.contains(look.name))
            continue;
        QProcess run;
        QProcessEnvironment environment = QProcessEnvironment::systemEnvironment();
        environment.insert(QStringLiteral("QT_SCALE_FACTOR"), look.scale);
        run.setProcessEnvironment(environment);
        run.setProcessChannelMode(QProcess::ForwardedChannels);
        run.start(QApplication::applicationFilePath(),
                  {onlySettle ? QStringLiteral("--settle-look") : QStringLiteral("--look"), folder, look.name});
        if (!run.waitForFinished(-1) || run.exitStatus() != QProcess::NormalExit || run.exitCode() != 0) {
            std::fprintf(stderr, "make_pictures: the look %s did not come about\n", qPrintable(look.name));
            return 1;
        }
    }
    return 0;
}

} // namespace

int main(int argc, char** argv)
{
    QApplication application(argc, argv);
    QStandardPaths::setTestModeEnabled(true);
    QApplication::setApplicationName(QStringLiteral("espalier-pictures"));
    const QStringList arguments = QApplication::arguments();
    if (arguments.size() == 5 && arguments[1] == QLatin1String("--gathered")) {
        for (const auto scheme : {theme::Scheme::Light, theme::Scheme::Dark}) {
            theme::apply(application, scheme);
            takeGatheredPictures(arguments[2], arguments[3], arguments[4],
                                 scheme == theme::Scheme::Light ? QStringLiteral("-light") : QStringLiteral("-dark"));
        }
        return 0;
    }
    if (arguments.size() >= 4 && arguments[1] == QLatin1String("--repository")) {
        for (const auto scheme : {theme::Scheme::Light, theme::Scheme::Dark}) {
            theme::apply(application, scheme);
            takeRepositoryPictures(arguments[2], arguments[3], arguments.value(4, QStringLiteral("core")),
                                   scheme == theme::Scheme::Light ? QStringLiteral("-light") : QStringLiteral("-dark"));
        }
        return 0;
    }
    const QString what = arguments.value(1), folder = arguments.value(2);
    const auto all = appearances();
    const auto known = [&](const QString& name) { return std::ranges::find(all, name, &Appearance::name); };
    const QStringList wanted = arguments.mid(3);
    const bool sound = std::ranges::all_of(wanted, [&](const QString& name) { return known(name) != all.end(); });
    if (folder.isEmpty() || !sound) {
        std::fputs("make_pictures: use make_pictures --job FOLDER, --pages FOLDER [LOOK…], --settle FOLDER [LOOK…], "
                   "--repository PATH FOLDER [FILE] "
                   "or --gathered PATH FOLDER BRANCH\n",
                   stderr);
        return 2;
    }
    theme::apply(application, theme::Scheme::Light);
    if (what == QLatin1String("--pages") || what == QLatin1String("--settle"))
        return runLooks(folder, wanted, what == QLatin1String("--settle"));
    if ((what == QLatin1String("--look") || what == QLatin1String("--settle-look")) && wanted.size() == 1)
        takeAllPages(folder, *known(wanted.front()), what == QLatin1String("--settle-look"));
    else
        theJob(folder);
    return 0;
}
