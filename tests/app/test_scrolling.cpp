// SPDX-License-Identifier: MIT
//
// A repository of two thousand and more commits, with merges and files, opened in the window and scrolled from end to end by
// key, with every screen looked at: rows are painted, with the texts that git log has for them.
#include "app/drift/drift_board.h"
#include "app/history/commit_panel.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/history/history_model.h"
#include "tests/support/keyboard.h"
#include "tests/support/temp_repository.h"
#include "tests/support/whole_job.h"

#include <QScrollBar>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestScrolling : public QObject {
    Q_OBJECT

    // Every row that is on the screen has been painted: texts in their column, something in the graph's.
    void screenIsPainted();
    std::unique_ptr<MainWindow> openWindow();

    TempRepository m_repo;
    std::unique_ptr<MainWindow> m_window;
    GraphList* m_list = nullptr;
    HistoryModel* m_model = nullptr;

  private Q_SLOTS:
    void initTestCase();
    void cleanupTestCase() { m_window.reset(); }
    void pageByPage();
    void backByPage();
    void toTheEndAtOnce();
    void folded();
};

// A main line with a merged side branch every seven commits, and two topics that nobody has merged.
void TestScrolling::initTestCase()
{
    BulkHistory bulk;
    std::vector<int> line{bulk.commit("main", {}, {{"log.txt", "0\n"}}, "Commit 0")};
    int side = 0;
    for (int i = 1; i <= 1800; ++i) {
        const std::string text = std::to_string(i);
        const Files files{{"src/file" + std::to_string(i % 40) + ".txt", text + "\n"}};
        if (i % 7 == 3)
            side = bulk.commit("side", {line.back()}, {{"side/" + text + ".txt", text + "\n"}}, "Side " + text);
        if (i % 7 == 6) {
            side = bulk.commit("side", {side}, {{"side/" + text + ".txt", text + "\n"}}, "Side " + text);
            line.push_back(bulk.commit("main", {line.back(), side}, files, "Merge " + text));
        } else {
            line.push_back(bulk.commit("main", {line.back()}, files, "Commit " + text));
        }
    }
    int topic = line[900];
    for (int i = 0; i < 30; ++i)
        topic = bulk.commit("topic/old", {topic}, {{"topic.txt", std::to_string(i)}}, "Topic " + std::to_string(i));
    bulk.import(m_repo);
    m_repo.git({"branch", "-q", "-D", "side"});
    m_repo.git({"reset", "-q", "--hard", "main"});
    m_window = openWindow();
    QVERIFY(m_window);
}

std::unique_ptr<MainWindow> TestScrolling::openWindow()
{
    auto window = std::make_unique<MainWindow>();
    if (!showActive(window.get()))
        return nullptr;
    QSignalSpy drift(window->session(), &Session::driftChanged);
    window->openRepository(m_repo.path());
    if (!waitFor([&] { return !drift.isEmpty(); }))
        return nullptr;
    m_list = window->graph()->findChild<GraphList*>();
    m_model = window->graph()->findChild<HistoryModel*>();
    window->graph()->setFolded(false); // the first look is folded; what is scrolled here is everything
    if (!waitFor([&] { return m_model->rowCount() >= 2000; }))
        return nullptr;
    for (int i = 0; i < 4 && !m_list->hasFocus(); ++i)
        press(Qt::Key_F6);
    return window;
}

void TestScrolling::screenIsPainted()
{
    const int top = m_list->verticalScrollBar()->value();
    const int height = m_list->rectOf(0).height();
    const int first = (top + height - 1) / height;
    const int last = std::min(m_model->rowCount() - 1, (top + m_list->viewport()->height()) / height - 1);
    QVERIFY(last > first + 5);
    // Summaries are read while the screen stands still.
    const auto isRead = [&] {
        for (int row = first; row <= last; ++row)
            if (!m_model->summary(row))
                return false;
        return true;
    };
    QTRY_VERIFY_WITH_TIMEOUT(isRead(), 30000);
    const QImage image = m_list->viewport()->grab().toImage();
    const Columns columns = m_list->columns();
    // More than the row's own background, whatever that is.
    const auto isPainted = [&](const QRect& room) {
        const QRect inside = room.intersected(image.rect());
        const QRgb back = image.pixel(inside.right(), inside.top() + 1);
        for (int y = inside.top() + 1; y < inside.bottom(); ++y)
            for (int x = inside.left(); x < inside.right(); ++x)
                if (image.pixel(x, y) != back)
                    return true;
        return false;
    };
    for (int row = first; row <= last; ++row) {
        const QRect at = m_list->rectOf(row);
        QVERIFY2(isPainted({columns.subject, at.top(), columns.subjectWidth, at.height()}),
                 qPrintable(QStringLiteral("no text in row %1").arg(row)));
        QVERIFY2(isPainted({0, at.top(), columns.subject, at.height()}),
                 qPrintable(QStringLiteral("no lane in row %1").arg(row)));
    }
}

void TestScrolling::pageByPage()
{
    QVERIFY(m_list->hasFocus());
    const int rows = m_model->rowCount();
    QVERIFY2(rows >= 2000, qPrintable(QString::number(rows)));
    QCOMPARE(rows, QString::fromStdString(m_repo.git({"rev-list", "--count", "--all"})).toInt());
    press(Qt::Key_Home);
    screenIsPainted();
    int pages = 0;
    while (m_list->current() < rows - 1) {
        const int before = m_list->current();
        press(Qt::Key_PageDown);
        QVERIFY(m_list->current() > before);
        screenIsPainted();
        if (QTest::currentTestFailed())
            return;
        QVERIFY(++pages < rows);
    }
    QVERIFY(m_list->viewport()->rect().contains(m_list->rectOf(rows - 1)));
    // Source: git log.
    QCOMPARE(m_model->summary(rows - 1)->subject, QStringLiteral("Commit 0"));
    const Row last = m_list->currentRow();
    QCOMPARE(m_window->session()->snapshot()->history.id(last).hex(),
             m_repo.git({"rev-list", "--max-parents=0", "main"}));
}

void TestScrolling::backByPage()
{
    press(Qt::Key_End);
    for (int i = 0; i < 10; ++i) {
        const int before = m_list->current();
        press(Qt::Key_PageUp);
        QVERIFY(m_list->current() < before);
        screenIsPainted();
    }
    press(Qt::Key_Home);
    QCOMPARE(m_list->current(), 0);
    QCOMPARE(m_list->verticalScrollBar()->value(), 0);
    screenIsPainted();
}

void TestScrolling::toTheEndAtOnce()
{
    press(Qt::Key_End);
    const int last = m_model->rowCount() - 1;
    QCOMPARE(m_list->current(), last);
    screenIsPainted();
    // The panel reads the commit that was reached.
    QSignalSpy loaded(m_window->commitPanel(), &CommitPanel::loaded);
    press(Qt::Key_Up);
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    QCOMPARE(m_list->current(), last - 1);
}

// Folded, the same history is a few screens, and still goes from the newest to the oldest.
void TestScrolling::folded()
{
    const int all = m_model->rowCount();
    m_window->graph()->setFolded(true);
    QTRY_VERIFY_WITH_TIMEOUT(m_model->rowCount() < all / 2, 30000);
    press(Qt::Key_Home);
    while (m_list->current() < m_model->rowCount() - 1) {
        const int before = m_list->current();
        press(Qt::Key_PageDown);
        QVERIFY(m_list->current() > before);
        screenIsPainted();
    }
    m_window->graph()->setFolded(false);
    QTRY_COMPARE_WITH_TIMEOUT(m_model->rowCount(), all, 30000);
}

QTEST_MAIN(TestScrolling)
#include "test_scrolling.moc"
