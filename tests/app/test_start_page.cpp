// SPDX-License-Identifier: MIT
//
// The start page: a sample is built once, found again as it was left, and removed only when that was asked for and answered.
#include "app/support/text.h"
#include "app/window/main_window.h"
#include "app/window/start_page.h"
#include "tests/support/temp_repository.h"
#include "tests/support/whole_job.h"

#include <QDialogButtonBox>
#include <QListWidget>
#include <QPushButton>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestStartPage : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void initTestCase() { qputenv("XDG_DATA_HOME", m_data.path().toUtf8()); }
    void sampleIsKeptAndRemoved();
    void longPathsAreShownWhole();

  private:
    static QListWidgetItem* choose(MainWindow& window, const QString& name)
    {
        const auto found = window.startPage()->samples()->findItems(name, Qt::MatchExactly);
        if (!found.isEmpty())
            window.startPage()->samples()->setCurrentItem(found.first());
        return found.value(0);
    }
    static QPushButton* remove(MainWindow& window)
    {
        return window.startPage()->findChild<QPushButton*>(QStringLiteral("removeSample"));
    }
    // Presses Remove and answers the question that follows.
    static void removeAndAnswer(MainWindow& window, QDialogButtonBox::StandardButton answer)
    {
        QTimer::singleShot(0, &window, [answer] {
            QVERIFY(waitFor([] { return QApplication::activeModalWidget() != nullptr; }));
            auto* buttons = QApplication::activeModalWidget()->findChild<QDialogButtonBox*>();
            QVERIFY(buttons);
            QTest::mouseClick(buttons->button(answer), Qt::LeftButton);
        });
        QTest::mouseClick(remove(window), Qt::LeftButton);
    }
    QTemporaryDir m_data;
};

void TestStartPage::sampleIsKeptAndRemoved()
{
    MainWindow window;
    window.show();
    QVERIFY(!remove(window)->isVisible());
    const auto openIt = [&] {
        window.openSample(QStringLiteral("stacked"));
        return waitFor([&] { return window.currentPage() == window.workbench() && !window.session()->isLoading(); });
    };
    QVERIFY(openIt());
    const QString clone = window.session()->path();
    QVERIFY2(clone.startsWith(m_data.path()), qPrintable(clone));
    QFile note(clone + QStringLiteral("/note.txt"));
    QVERIFY(note.open(QIODevice::WriteOnly));
    note.close();
    // Opened again it is what was left.
    window.showStart();
    QVERIFY(openIt());
    QCOMPARE(window.session()->path(), clone);
    QVERIFY(QFile::exists(note.fileName()));
    // What is open is not removed.
    window.showStart();
    QVERIFY(waitFor([&] { return remove(window)->isVisible() && choose(window, QStringLiteral("stacked")); }));
    QVERIFY(remove(window)->isEnabled());
    // One that was never opened has nothing to remove.
    QVERIFY(choose(window, QStringLiteral("same-lines")));
    QVERIFY(!remove(window)->isEnabled());
    QVERIFY(choose(window, QStringLiteral("stacked")));
    QTest::mouseClick(remove(window), Qt::LeftButton);
    QVERIFY2(window.notice()->line().contains(QStringLiteral("is open")), qPrintable(window.notice()->line()));
    QVERIFY(QFile::exists(note.fileName()));
    // With another repository open it is asked for, and "no" keeps it.
    TempRepository other;
    other.commitFiles({{"a.txt", "a\n"}}, "First", {}, "main");
    window.openRepository(other.path());
    QVERIFY(waitFor([&] {
        return window.session()->path() == other.path() && !window.session()->isLoading() &&
               window.currentPage() == window.workbench();
    }));
    window.showStart();
    QVERIFY(choose(window, QStringLiteral("stacked")));
    removeAndAnswer(window, QDialogButtonBox::Cancel);
    QVERIFY(QFile::exists(note.fileName()));
    QVERIFY(choose(window, QStringLiteral("stacked")));
    removeAndAnswer(window, QDialogButtonBox::Ok);
    QVERIFY(waitFor([&] { return window.notice()->line().contains(QStringLiteral("removed")); }));
    QVERIFY(!QFile::exists(clone));
    QVERIFY(waitFor([&] { return !remove(window)->isVisible(); }));
}

void TestStartPage::longPathsAreShownWhole()
{
    StartPage page;
    page.resize(700, 600);
    page.setRecent({QStringLiteral("/srv/") + QString(150, u'x'), QStringLiteral("/a/b")});
    page.show();
    QVERIFY(QTest::qWaitForWindowExposed(&page));
    const auto height = [&](int row) { return page.recent()->visualItemRect(page.recent()->item(row)).height(); };
    QVERIFY2(height(0) > height(1), "a path that does not fit one line gets two");
    QSignalSpy chosen(&page, &StartPage::pathChosen);
    Q_EMIT page.recent()->itemActivated(page.recent()->item(1));
    QCOMPARE(chosen.first().first().toString(), QStringLiteral("/a/b"));
}

QTEST_MAIN(TestStartPage)
#include "test_start_page.moc"
