// SPDX-License-Identifier: MIT
// The desktop turns dark while the program runs: every page then looks, to the pixel, as in a window that was dark from the
// start.
#include "app/drift/clean_up_page.h"
#include "app/dryrun/dry_run_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/code_highlighter.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/main_window.h"
#include "core/samples/samples.h"

#include <QPushButton>
#include <QStyleHints>
#include <QtTest>

using namespace espalier;

namespace {
constexpr int patience = 20000;
}

class TestColourScheme : public QObject {
    Q_OBJECT

    QTemporaryDir m_folder;
    QString m_clone;

    // The pages in a state of theirs; the window outlives the look at it.
    void show(MainWindow& window, const QString& page)
    {
        window.resize(1200, 800);
        window.show();
        if (page == QStringLiteral("start"))
            return;
        if (page == QStringLiteral("walkthrough")) {
            window.showWalkthrough();
            window.walkthroughPage()->setStep(2);
            return;
        }
        QSignalSpy forecasts(window.session(), &Session::forecastsDone);
        window.openRepository(m_clone);
        QTRY_VERIFY_WITH_TIMEOUT(!forecasts.isEmpty(), patience);
        // How long it took is another time in each window.
        window.findChild<PlainLabel*>(QStringLiteral("forecastLine"))->setText(QStringLiteral("forecast"));
        if (page == QStringLiteral("logbook"))
            window.showLogbook();
        if (page == QStringLiteral("clean-up")) {
            QSignalSpy loaded(window.cleanUpPage(), &CleanUpPage::loaded);
            window.showCleanUp();
            QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), patience);
        }
        if (page == QStringLiteral("overwrite")) {
            window.checkAndPush("topic/metric-heights");
            QTRY_VERIFY_WITH_TIMEOUT(window.currentPage() == window.overwritePage(), patience);
        }
        if (page != QStringLiteral("dry run") && page != QStringLiteral("settle"))
            return;
        const SnapshotPtr snapshot = window.session()->snapshot();
        const Ref* topic = snapshot->findRef("refs/heads/topic/metric-heights");
        window.startReplay(
            {topic->name, {}, topic->tip, true, QStringLiteral("topic")},
            {snapshot->mainLineRef()->tip, snapshot->mainLineRef()->name, QStringLiteral("upstream/main")});
        QTRY_VERIFY_WITH_TIMEOUT(window.flow()->run() && !window.flow()->isBusy(), patience);
        if (page == QStringLiteral("dry run"))
            return;
        Q_EMIT window.dryRunPage()->settleRequested();
        QTRY_VERIFY_WITH_TIMEOUT(window.settlePage()->findChild<QPushButton*>(QStringLiteral("new-base"))->isEnabled(),
                                 patience);
    }
    // Once all colours of code are laid on and nothing is on its way any more.
    static QImage look(MainWindow& window)
    {
        const auto done = [&] {
            for (const auto* pane : window.findChildren<TextPane*>())
                if (!pane->highlighter()->isDone())
                    return false;
            return true;
        };
        (void)QTest::qWaitFor(done, patience);
        QTest::qWait(250); // the walkthrough's movement, lists that load what they show
        if (window.focusWidget())
            window.focusWidget()->clearFocus(); // no blinking cursor
        QCoreApplication::processEvents();
        return window.grab().toImage().convertToFormat(QImage::Format_RGB32);
    }
    static QString whatDiffers(MainWindow& window, const QImage& is, const QImage& wanted)
    {
        if (is.size() != wanted.size())
            return QStringLiteral("the sizes differ");
        for (int y = 0; y < is.height(); ++y)
            for (int x = 0; x < is.width(); ++x)
                if (is.pixel(x, y) != wanted.pixel(x, y)) {
                    QString where = QStringLiteral("%1,%2: %3 for %4 in")
                                        .arg(x)
                                        .arg(y)
                                        .arg(QColor(is.pixel(x, y)).name(), QColor(wanted.pixel(x, y)).name());
                    for (const QWidget* at = window.childAt(x, y); at; at = at->parentWidget())
                        where += QLatin1Char(' ') + QLatin1String(at->metaObject()->className()) + at->objectName();
                    return where;
                }
        return {};
    }

  private Q_SLOTS:
    void initTestCase()
    {
        const auto built = buildSample("same-lines", m_folder.filePath(QStringLiteral("sample")).toStdString());
        QVERIFY(built.has_value());
        m_clone = QString::fromStdString(built->clone.string());
    }

    void followsTheDesktop_data()
    {
        QTest::addColumn<QString>("page");
        for (const char* page :
             {"start", "workbench", "dry run", "settle", "overwrite", "logbook", "clean-up", "walkthrough"})
            QTest::newRow(page) << QString::fromLatin1(page);
    }
    void followsTheDesktop()
    {
        QFETCH(QString, page);
        QImage wanted, light;
        theme::apply(*qApp, theme::Scheme::Dark);
        {
            MainWindow window;
            show(window, page);
            wanted = look(window);
        }
        theme::apply(*qApp, theme::Scheme::Light);
        theme::apply(*qApp, theme::Scheme::System); // light too, where no desktop says otherwise
        MainWindow window;
        show(window, page);
        light = look(window);
        QVERIFY(light != wanted);
        Q_EMIT QGuiApplication::styleHints()->colorSchemeChanged(Qt::ColorScheme::Dark);
        const QImage now = look(window);
        if (qEnvironmentVariableIsSet("ESPALIER_KEEP_PICTURES")) {
            now.save(qEnvironmentVariable("ESPALIER_KEEP_PICTURES") + page + QStringLiteral("-now.png"));
            wanted.save(qEnvironmentVariable("ESPALIER_KEEP_PICTURES") + page + QStringLiteral("-wanted.png"));
        }
        const QString differs = whatDiffers(window, now, wanted);
        QVERIFY2(differs.isEmpty(), qPrintable(differs));
        Q_EMIT QGuiApplication::styleHints()->colorSchemeChanged(Qt::ColorScheme::Light);
        const QString back = whatDiffers(window, look(window), light);
        QVERIFY2(back.isEmpty(), qPrintable(back));
    }
};

QTEST_MAIN(TestColourScheme)
#include "test_colour_scheme.moc"
