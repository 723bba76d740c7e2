// SPDX-License-Identifier: MIT
//
// Every control of every page and dialog: it has a name for those who hear the window, it can be reached with Tab, and it
// looks different while it has the keyboard (WCAG 2.2, 4.1.2, 2.1.1 and 2.4.7).
#include "app/drift/clean_up_page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/window/dialogs.h"
#include "app/window/main_window.h"
#include "core/samples/samples.h"
#include "tests/support/whole_job.h"

#include <QAbstractButton>
#include <QAbstractItemView>
#include <QAccessible>
#include <QComboBox>
#include <QLineEdit>
#include <QMenuBar>
#include <QPlainTextEdit>
#include <QPointer>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

QString nameOf(QWidget* control)
{
    QAccessibleInterface* heard = QAccessible::queryAccessibleInterface(control);
    return heard ? heard->text(QAccessible::Name).trimmed() : QString();
}

QString describe(const QWidget* control)
{
    const auto* button = qobject_cast<const QAbstractButton*>(control);
    return QStringLiteral("%1 %2 \"%3\" in %4 at %5,%6 %7×%8")
        .arg(QString::fromLatin1(control->metaObject()->className()), control->objectName(),
             button ? button->text() : control->accessibleName(),
             QString::fromLatin1(control->parentWidget() ? control->parentWidget()->metaObject()->className()
                                                         : "nothing"))
        .arg(control->x())
        .arg(control->y())
        .arg(control->width())
        .arg(control->height());
}

// What a user acts on. Scroll areas that only scroll are not: their contents are.
bool isControl(const QWidget* widget)
{
    return qobject_cast<const QAbstractButton*>(widget) || qobject_cast<const QLineEdit*>(widget) ||
           qobject_cast<const QComboBox*>(widget) || qobject_cast<const QAbstractItemView*>(widget) ||
           qobject_cast<const QPlainTextEdit*>(widget) || widget->inherits("espalier::GraphList");
}

// Some are made anew whenever something else is shown.
using Controls = QList<QPointer<QWidget>>;

Controls controlsOf(QWidget* page)
{
    Controls found;
    for (QWidget* widget : page->findChildren<QWidget*>())
        if (widget->isVisible() && isControl(widget) && !widget->inherits("QHeaderView") &&
            !widget->inherits("QTableCornerButton"))
            found << widget;
    return found;
}

// There is nothing in it yet that could have the keyboard.
bool isEmptyView(const QWidget* control)
{
    const auto* view = qobject_cast<const QAbstractItemView*>(control);
    return view && (!view->model() || view->model()->rowCount() == 0);
}

bool looksDifferentWithFocus(const QPointer<QWidget>& control)
{
    QWidget* window = control->window();
    // A pane of text may have its ring around the card that it fills.
    const QPointer<QWidget> seen =
        qobject_cast<QPlainTextEdit*>(control.data()) ? control->parentWidget() : control.data();
    QLineEdit elsewhere(window);
    elsewhere.setGeometry(-100, -100, 50, 20);
    elsewhere.show();
    elsewhere.setFocus(Qt::TabFocusReason);
    QCoreApplication::processEvents();
    const QImage before = seen ? seen->grab().toImage() : QImage();
    // What the window still does after the last step may show something else, or give the keyboard elsewhere once.
    (void)waitFor(
        [&] {
            if (control && !control->hasFocus())
                control->setFocus(Qt::TabFocusReason);
            QCoreApplication::processEvents();
            return !control || control->hasFocus();
        },
        2000);
    if (!seen || !control)
        return true;
    return seen->grab().toImage() != before;
}

} // namespace

class TestControls : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void initTestCase()
    {
        QStandardPaths::setTestModeEnabled(true);
        theme::apply(*qApp, theme::Scheme::Light);
    }
    void startPage();
    void menus();
    void wholeJob();
    void cleanUpAndWalkthrough();
    void dialogs_data();
    void dialogs();

  private:
    static QString cloneOf(const QTemporaryDir& folder, const std::string& name)
    {
        const auto sample = buildSample(name, (folder.path() + QStringLiteral("/sample")).toStdString());
        return sample ? QString::fromStdString(sample->clone.string()) : QString();
    }
    static void show(MainWindow& window)
    {
        window.resize(1300, 860);
        window.show();
        QVERIFY(QTest::qWaitForWindowActive(&window));
    }
    // Fails with all that is wrong on the page, not only the first.
    static void check(QWidget* page, const QString& where)
    {
        QStringList wrong;
        for (const QPointer<QWidget>& control : controlsOf(page)) {
            if (!control)
                continue;
            if (nameOf(control).isEmpty())
                wrong << QStringLiteral("no name: ") + describe(control);
            if (!control->isEnabled())
                continue;
            if (!(control->focusPolicy() & Qt::TabFocus))
                wrong << QStringLiteral("not reached with Tab: ") + describe(control);
            else if (!isEmptyView(control) && !looksDifferentWithFocus(control))
                wrong << QStringLiteral("looks the same with the keyboard: ") + describe(control);
        }
        QVERIFY2(wrong.isEmpty(), qPrintable(where + QStringLiteral(":\n  ") + wrong.join(QStringLiteral("\n  "))));
        QVERIFY2(!controlsOf(page).isEmpty(), qPrintable(where));
    }
};

void TestControls::startPage()
{
    MainWindow window;
    show(window);
    check(window.currentPage(), QStringLiteral("start page"));
}

void TestControls::menus()
{
    const MainWindow window;
    for (const QAction* menu : window.menuBar()->actions()) {
        QVERIFY(!menu->text().isEmpty());
        for (const QAction* action : menu->menu()->actions())
            QVERIFY2(action->isSeparator() || action->text().contains(QLatin1Char('&')), qPrintable(action->text()));
    }
}

void TestControls::wholeJob()
{
    QTemporaryDir folder;
    MainWindow window;
    show(window);
    MouseJob job(window, cloneOf(folder, "same-lines"));
    QStringList seen;
    job.run([&](const QString& step) {
        if (step == QLatin1String("drag") || QTest::currentTestFailed())
            return;
        QWidget* before = QApplication::focusWidget();
        seen << step;
        check(window.currentPage(), step);
        if (window.notice()->isVisible())
            check(window.notice(), step + QStringLiteral(", the notice"));
        if (before)
            before->setFocus();
    });
    QVERIFY2(job.problem().isEmpty(), qPrintable(job.problem()));
    QVERIFY(seen.size() > 6);
}

void TestControls::cleanUpAndWalkthrough()
{
    QTemporaryDir folder;
    MainWindow window;
    show(window);
    QSignalSpy opened(window.session(), &Session::forecastsDone);
    window.openRepository(cloneOf(folder, "already-landed"));
    QVERIFY(opened.wait(30000));
    QSignalSpy loaded(window.cleanUpPage(), &CleanUpPage::loaded);
    window.showCleanUp();
    QVERIFY(loaded.count() > 0 || loaded.wait(30000));
    QVERIFY(window.cleanUpPage()->list()->topLevelItemCount() > 0);
    check(window.currentPage(), QStringLiteral("clean up"));
    window.showWalkthrough();
    check(window.currentPage(), QStringLiteral("walkthrough"));
}

void TestControls::dialogs_data()
{
    QTest::addColumn<int>("which");
    const char* names[] = {"clone", "branch name", "upstream", "roles", "base", "confirm"};
    for (int i = 0; i < 6; ++i)
        QTest::newRow(names[i]) << i;
}

void TestControls::dialogs()
{
    QFETCH(int, which);
    QTemporaryDir folder;
    MainWindow window;
    show(window);
    QSignalSpy opened(window.session(), &Session::forecastsDone);
    window.openRepository(cloneOf(folder, "stacked"));
    QVERIFY(opened.wait(30000));
    const Snapshot& snapshot = *window.session()->snapshot();
    bool looked = false;
    QTimer::singleShot(0, &window, [&] {
        if (waitFor(
                [] { return QApplication::activeModalWidget() && QApplication::activeModalWidget()->isVisible(); })) {
            QWidget* dialog = QApplication::activeModalWidget();
            if (QTest::qWaitForWindowActive(dialog))
                check(dialog, QString::fromLatin1(QTest::currentDataTag()));
            looked = true;
            dialog->close();
        }
    });
    switch (which) {
    case 0:
        espalier::dialogs::askClone(&window);
        break;
    case 1:
        espalier::dialogs::askBranchName(&window, QStringLiteral("New branch"), {}, QStringLiteral("topic/"), snapshot,
                                         true);
        break;
    case 2:
        espalier::dialogs::askUpstream(&window, snapshot);
        break;
    case 3:
        espalier::dialogs::askRoles(&window, snapshot);
        break;
    case 4:
        espalier::dialogs::chooseBase(&window, QStringLiteral("Replay"), snapshot);
        break;
    case 5:
        espalier::dialogs::chooseCommit(&window, QStringLiteral("Go to"), QStringLiteral("Go there"), snapshot);
        break;
    default:
        espalier::dialogs::confirm(&window, QStringLiteral("Delete"), QStringLiteral("Delete it?"),
                                   QStringLiteral("Delete"));
    }
    QVERIFY(looked);
}

QTEST_MAIN(TestControls)
#include "test_controls.moc"
