// SPDX-License-Identifier: MIT
// The window at 1024 x 640, at 100% and with the desktop's usual font: every page fits into it as people meet it, and no
// button's text is cut.
#include "app/dryrun/dry_run_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/theme.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/main_window.h"
#include "core/samples/samples.h"

#include <QAbstractButton>
#include <QPushButton>
#include <QStatusBar>
#include <QToolButton>
#include <QtTest>

using namespace espalier;

namespace {
constexpr int patience = 20000;
constexpr QSize small(1024, 640);
} // namespace

class TestSmallWindow : public QObject {
    Q_OBJECT

    QTemporaryDir m_folder;

    QString build(const char* sample) const
    {
        const auto built = buildSample(sample, m_folder.filePath(QLatin1String(sample)).toStdString());
        return built ? QString::fromStdString(built->clone.string()) : QString();
    }
    // What does not fit, in a line each.
    static QStringList tooBig(const MainWindow& window, const QString& page)
    {
        QStringList lines;
        const QSize least = window.minimumSizeHint();
        if (window.size() != small || least.width() > small.width() || least.height() > small.height())
            lines << QStringLiteral("%1: the window is %2 x %3 and wants %4 x %5")
                         .arg(page)
                         .arg(window.width())
                         .arg(window.height())
                         .arg(least.width())
                         .arg(least.height());
        for (const auto* button : window.findChildren<QAbstractButton*>())
            if (button->isVisible() && !button->text().isEmpty() && button->width() < button->minimumSizeHint().width())
                lines << QStringLiteral("%1: %2 is cut").arg(page, button->text());
        return lines;
    }
    static void replay(MainWindow& window, const char* branch)
    {
        const SnapshotPtr snapshot = window.session()->snapshot();
        const Ref* topic = snapshot->findRef(branch);
        const Ref* main = snapshot->mainLineRef();
        QVERIFY(topic && main);
        window.startReplay({topic->name, {}, topic->tip, true, QStringLiteral("topic")},
                           {main->tip, main->name, QStringLiteral("upstream/main")});
        QTRY_VERIFY_WITH_TIMEOUT(window.flow()->run() && !window.flow()->isBusy(), patience);
    }
    static void open(MainWindow& window, const QString& path)
    {
        QVERIFY(!path.isEmpty());
        QSignalSpy drift(window.session(), &Session::driftChanged);
        window.openRepository(path);
        QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty(), patience);
    }

  private Q_SLOTS:
    void initTestCase() { theme::apply(*qApp, theme::Scheme::Light); }

    void everyPageFits()
    {
        MainWindow window;
        window.resize(small);
        window.show();
        QStringList wrong;
        const auto look = [&](const char* page) {
            QCoreApplication::processEvents();
            // What came just now has its place before it is painted.
            QCoreApplication::sendPostedEvents(nullptr, QEvent::LayoutRequest);
            wrong += tooBig(window, QLatin1String(page));
        };
        look("start");
        open(window, build("same-lines"));
        look("workbench");
        replay(window, "refs/heads/topic/metric-heights");
        look("dry run");
        Q_EMIT window.dryRunPage()->settleRequested();
        QTRY_VERIFY_WITH_TIMEOUT(window.settlePage()->findChild<QPushButton*>(QStringLiteral("new-base"))->isEnabled(),
                                 patience);
        look("settle");
        // Who changed the lines comes later, and makes a button wider.
        const auto* commits = window.settlePage()->findChild<QToolButton*>(QStringLiteral("commitsHandle"));
        QTRY_VERIFY_WITH_TIMEOUT(commits && commits->text().contains(u'('), patience);
        look("settle, with who changed the lines");
        window.showWorkbench();
        window.flow()->close();
        window.showLogbook();
        look("logbook");
        window.showCleanUp();
        look("clean-up");
        window.showWalkthrough();
        for (int step = 0; step < window.walkthroughPage()->stepCount(); ++step) {
            window.walkthroughPage()->setStep(step);
            look("walkthrough");
        }
        window.showWorkbench();
        open(window, build("stacked"));
        replay(window, "refs/heads/topic/moon-phase-icons");
        look("dry run of a stack");
        window.flow()->close();
        open(window, build("someone-pushed"));
        window.checkAndPush("topic/spring-warning");
        QTRY_VERIFY_WITH_TIMEOUT(window.currentPage() == window.overwritePage(), patience);
        look("overwrite check");
        QVERIFY2(wrong.isEmpty(), qPrintable(wrong.join(u'\n')));
    }

    // The bar at the bottom is there while it says something, and takes no room else.
    void statusBarOnlyWhileItSaysSomething()
    {
        MainWindow window;
        window.resize(small);
        window.show();
        QVERIFY(!window.statusBar()->isVisible());
        window.statusBar()->showMessage(QStringLiteral("Nothing found"));
        QVERIFY(window.statusBar()->isVisible());
        window.statusBar()->clearMessage();
        QVERIFY(!window.statusBar()->isVisible());
    }
};

QTEST_MAIN(TestSmallWindow)
#include "test_small_window.moc"
