// SPDX-License-Identifier: MIT
//
// Drives the real window as a user would and saves numbered pictures of what it shows. A tool, not a test: people look at
// the pictures; packaging/try and the README use them.
//
//     make_pictures --job FOLDER      the main job on the sample same-lines, step by step
//     make_pictures --pages FOLDER    every page, light and dark (scale: QT_SCALE_FACTOR)
#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/dryrun/replay_flow.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/settle/settle_page.h"
#include "app/support/theme.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/main_window.h"
#include "app/window/start_page.h"
#include "core/samples/samples.h"

#include <QApplication>
#include <QDir>
#include <QListView>
#include <QPushButton>
#include <QTemporaryDir>
#include <QTreeWidget>
#include <QtTest>

#include <cstdio>

using namespace espalier;

namespace {

// Everything here waits for a state, never for a time; this bound only ends a run that is stuck.
constexpr int patience = 60'000;

class Pictures {
  public:
    Pictures(QWidget& window, const QString& folder, const QString& suffix)
        : m_window(window), m_folder(folder), m_suffix(suffix)
    {
        QDir().mkpath(folder);
    }

    void take(const QString& name)
    {
        settle();
        const QString file =
            QStringLiteral("%1/%2-%3%4.png").arg(m_folder).arg(++m_number, 2, 10, QLatin1Char('0')).arg(name, m_suffix);
        if (!m_window.grab().save(file))
            std::fprintf(stderr, "make_pictures: cannot write %s\n", qPrintable(file));
    }

    // Lets what is queued be painted.
    static void settle()
    {
        for (int i = 0; i < 20; ++i) {
            QCoreApplication::processEvents();
            QTest::qWait(10);
        }
    }

  private:
    QWidget& m_window;
    QString m_folder, m_suffix;
    int m_number = 0;
};

template <typename Condition> void waitFor(Condition condition, const char* what)
{
    if (!QTest::qWaitFor(condition, patience)) {
        std::fprintf(stderr, "make_pictures: waited in vain for %s\n", what);
        std::exit(1);
    }
}

QPushButton* buttonOf(QWidget* page, const QString& text)
{
    for (QPushButton* button : page->findChildren<QPushButton*>())
        if (button->isVisible() && button->text().remove(QLatin1Char('&')).startsWith(text))
            return button;
    return nullptr;
}

void click(QWidget* page, const QString& text)
{
    QPushButton* button = nullptr;
    waitFor([&] { return (button = buttonOf(page, text)) && button->isEnabled(); }, qPrintable(text));
    QTest::mouseClick(button, Qt::LeftButton);
}

void open(MainWindow& window, const QString& clone)
{
    QSignalSpy done(window.session(), &Session::forecastsDone);
    window.openRepository(clone);
    waitFor([&] { return done.count() > 0; }, "the forecasts");
}

// Builds a sample and returns its clone.
QString buildIn(const QTemporaryDir& folder, const QString& name)
{
    const auto sample = buildSample(name.toStdString(), (folder.path() + QLatin1Char('/') + name).toStdString());
    if (!sample) {
        std::fprintf(stderr, "make_pictures: %s\n", sample.error().line().c_str());
        std::exit(1);
    }
    return QString::fromStdString(sample->clone.string());
}

void selectBranch(MainWindow& window, const std::string& ref)
{
    window.driftBoard()->select(ref);
    if (const Ref* found = window.session()->snapshot()->findRef(ref))
        window.graph()->goTo(found->row);
}

void replayOntoMainLine(MainWindow& window, const std::string& branch)
{
    const SnapshotPtr snapshot = window.session()->snapshot();
    const Ref* ref = snapshot->findRef("refs/heads/" + branch);
    const Ref* mainLine = snapshot->mainLineRef();
    window.startReplay({.branch = ref->name, .below = {}, .tip = ref->tip, .wholeBranch = true,
                        .label = QString::fromStdString(branch)},
                       {.commit = mainLine->tip, .refName = mainLine->name,
                        .label = QString::fromStdString(mainLine->shortName)});
    waitFor([&] { return window.flow()->run() && !window.flow()->isBusy(); }, "the dry run");
}

void decideAll(MainWindow& window, Pictures& pictures)
{
    const QString choices[] = {QStringLiteral("Yours, then new base"), QStringLiteral("Keep new base")};
    for (const QString& choice : choices) {
        const std::size_t before = window.flow()->run()->undecided();
        click(window.settlePage(), choice);
        waitFor([&] { return window.flow()->run()->undecided() < before && !window.flow()->isBusy(); }, "the decision");
        pictures.take(QStringLiteral("settle-decided"));
        if (window.flow()->run()->undecided() > 0)
            click(window.settlePage(), QStringLiteral("Next undecided"));
    }
}

int theJob(const QString& folder)
{
    QTemporaryDir samples;
    MainWindow window;
    window.resize(1400, 900);
    window.show();
    Pictures pictures(window, folder, {});
    pictures.take(QStringLiteral("start"));
    open(window, buildIn(samples, QStringLiteral("same-lines")));
    selectBranch(window, "refs/heads/topic/metric-heights");
    pictures.take(QStringLiteral("three-places"));
    replayOntoMainLine(window, "topic/metric-heights");
    pictures.take(QStringLiteral("dry-run"));
    click(window.dryRunPage(), QStringLiteral("Settle"));
    waitFor([&] { return buttonOf(window.settlePage(), QStringLiteral("Keep new base")); }, "the settle page");
    waitFor([&] { return buttonOf(window.settlePage(), QStringLiteral("Keep new base"))->isEnabled(); }, "the hunks");
    pictures.take(QStringLiteral("settle"));
    decideAll(window, pictures);
    click(window.settlePage(), QStringLiteral("Back to the dry run"));
    pictures.take(QStringLiteral("dry-run-settled"));
    QSignalSpy applied(window.flow(), &ReplayFlow::applied);
    click(window.dryRunPage(), QStringLiteral("Apply"));
    waitFor([&] { return applied.count() > 0; }, "apply");
    QSignalSpy forecasts(window.session(), &Session::forecastsDone);
    waitFor([&] { return forecasts.count() > 0; }, "the new picture");
    pictures.take(QStringLiteral("applied"));
    window.checkAndPush("topic/metric-heights");
    waitFor([&] { return window.currentPage() == window.overwritePage(); }, "the overwrite check");
    pictures.take(QStringLiteral("overwrite-check"));
    click(window.overwritePage(), QStringLiteral("Replace"));
    waitFor([&] { return buttonOf(window.overwritePage(), QStringLiteral("Nothing to push")); }, "the push");
    pictures.take(QStringLiteral("pushed"));
    window.showLogbook();
    waitFor([&] { return !window.logbookPage()->findChildren<QTreeWidget*>().isEmpty() &&
                         window.logbookPage()->findChild<QTreeWidget*>(QStringLiteral("entries"))->topLevelItemCount() > 1; },
            "the logbook");
    pictures.take(QStringLiteral("logbook"));
    auto* entries = window.logbookPage()->findChild<QTreeWidget*>(QStringLiteral("entries"));
    entries->setCurrentItem(entries->topLevelItem(1)); // the replay, below the push
    const int before = entries->topLevelItemCount();
    click(window.logbookPage(), QStringLiteral("Take back"));
    waitFor([&] { return entries->topLevelItemCount() > before; }, "the way back");
    window.showWorkbench();
    pictures.take(QStringLiteral("taken-back"));
    return 0;
}

void thePages(const QString& folder, theme::Scheme scheme, const QString& suffix)
{
    theme::apply(*qApp, scheme);
    QTemporaryDir samples;
    MainWindow window;
    window.resize(1400, 900);
    window.show();
    Pictures pictures(window, folder, suffix);
    pictures.take(QStringLiteral("start"));
    for (const char* name : {"already-landed", "stacked", "hostile"}) {
        open(window, buildIn(samples, QLatin1String(name)));
        pictures.take(QLatin1String(name));
    }
    open(window, buildIn(samples, QStringLiteral("someone-pushed")));
    pictures.take(QStringLiteral("someone-pushed"));
    window.checkAndPush("topic/spring-warning");
    waitFor([&] { return window.currentPage() == window.overwritePage(); }, "the overwrite check");
    pictures.take(QStringLiteral("overwrite-foreign"));
    window.showLogbook();
    pictures.take(QStringLiteral("logbook-empty"));
    window.showWorkbench();
    open(window, buildIn(samples, QStringLiteral("same-lines")));
    selectBranch(window, "refs/heads/topic/metric-heights");
    pictures.take(QStringLiteral("three-places"));
    replayOntoMainLine(window, "topic/metric-heights");
    pictures.take(QStringLiteral("dry-run"));
    click(window.dryRunPage(), QStringLiteral("Settle"));
    waitFor([&] { return buttonOf(window.settlePage(), QStringLiteral("Keep new base")) &&
                         buttonOf(window.settlePage(), QStringLiteral("Keep new base"))->isEnabled(); },
            "the hunks");
    pictures.take(QStringLiteral("settle"));
    window.showWorkbench();
    window.showWalkthrough();
    window.walkthroughPage()->setStep(4);
    QTest::qWait(600); // its movement
    pictures.take(QStringLiteral("walkthrough"));
}

} // namespace

int main(int argc, char** argv)
{
    QApplication application(argc, argv);
    QStandardPaths::setTestModeEnabled(true);
    QApplication::setApplicationName(QStringLiteral("espalier-pictures"));
    const QStringList arguments = QApplication::arguments();
    if (arguments.size() != 3 || (arguments[1] != QLatin1String("--job") && arguments[1] != QLatin1String("--pages"))) {
        std::fputs("make_pictures: use make_pictures --job FOLDER or make_pictures --pages FOLDER\n", stderr);
        return 2;
    }
    theme::apply(application, theme::Scheme::Light);
    if (arguments[1] == QLatin1String("--job"))
        return theJob(arguments[2]);
    thePages(arguments[2], theme::Scheme::Light, QStringLiteral("-light"));
    thePages(arguments[2], theme::Scheme::Dark, QStringLiteral("-dark"));
    return 0;
}
