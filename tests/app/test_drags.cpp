// SPDX-License-Identifier: MIT
//
// What the events of a drag do in the whole window, far behind: every place that names a base takes the drop or says why it does
// not, edges scroll, a gap opens, and what is not dropped leaves the picture as it was. The events are those that Qt sends to
// what is under the pointer; the loop of a drag is the platform's, and that of the tests has none.
#include "app/drift/drift_board.h"
#include "app/drift/drift_list.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/session/replay_flow.h"
#include "app/support/drop_spot.h"
#include "app/window/main_window.h"
#include "app/window/places_strip.h"
#include "tests/support/far_scene.h"

#include <QAbstractButton>
#include <QDialog>
#include <QDragEnterEvent>
#include <QListWidget>
#include <QScrollBar>
#include <QSignalSpy>
#include <QTimer>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr int patience = 30'000;
constexpr Qt::DropActions actions = Qt::MoveAction | Qt::LinkAction;

// A drag of something over one widget, from where it enters.
class Pointer {
  public:
    Pointer(QWidget* over, const DragSource& source) : m_over(over), m_data(encodeDrag(source)) {}
    // Whether a drop there would be taken. As from the window system, nothing more arrives where the entering was refused.
    bool moveTo(QPoint at)
    {
        if (!std::exchange(m_inside, true)) {
            QDragEnterEvent enter(at, actions, m_data.get(), Qt::LeftButton, {});
            QCoreApplication::sendEvent(m_over, &enter);
        }
        QDragMoveEvent move(at, actions, m_data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(m_over, &move);
        m_at = at;
        return move.isAccepted();
    }
    // Whether it was taken.
    bool drop()
    {
        QDropEvent drop(m_at, actions, m_data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(m_over, &drop);
        m_inside = false;
        return drop.isAccepted();
    }
    void leave()
    {
        QDragLeaveEvent leave;
        QCoreApplication::sendEvent(m_over, &leave);
        m_inside = false;
    }

  private:
    QWidget* m_over;
    std::unique_ptr<QMimeData> m_data;
    QPoint m_at;
    bool m_inside = false;
};

} // namespace

class TestDrags : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void initTestCase();
    void init();
    void cleanup();
    void rowsOfTheBoard();
    void theThreeCards();
    void theBoardsHeadLine();
    void edgesScroll();
    void aGapOpens();
    void whatIsNotDroppedLeavesAllAsItWas();
    void theKeyboardHasTheSameBases();

  private:
    SnapshotPtr snapshot() const { return m_window->session()->snapshot(); }
    Oid tip(const std::string& ref) const { return snapshot()->findRef(ref)->tip; }
    DragSource topic(int number) const
    {
        const std::string name = FarScene::topic(number);
        return {name, {}, tip(name), true, QString::fromStdString(name.substr(11))};
    }
    DriftList* board() const { return m_window->driftBoard()->findChild<DriftList*>(); }
    GraphList* graph() const { return m_window->graph()->findChild<GraphList*>(); }
    int rows() const { return graph()->model()->rowCount(); }
    QModelIndex onBoard(const QString& name) const;
    // In view, its middle in the viewport.
    QPoint boardPlace(const QString& name) const;
    QPoint graphPlace(const std::string& ref) const;
    std::vector<DropSpot*> spots(const QWidget* in) const;
    // Begins as every drag does: by whoever is dragged from saying so.
    void beginDrag(const DragSource& source);
    void endDrag(bool taken) { Q_EMIT m_window->driftBoard()->dragEnded(taken); }
    // The dry run that follows a drop stands on this commit.
    void expectReplayOnto(const DragSource& source, const Oid& onto);

    std::unique_ptr<FarScene> m_scene;
    std::unique_ptr<MainWindow> m_window;
};

void TestDrags::initTestCase() { m_scene = std::make_unique<FarScene>(3000, 9); }

void TestDrags::init()
{
    m_window = std::make_unique<MainWindow>();
    m_window->resize(1300, 800);
    m_window->show();
    QVERIFY(QTest::qWaitForWindowExposed(m_window.get()));
    QSignalSpy forecast(m_window->session(), &Session::forecastsDone);
    m_window->openRepository(m_scene->repo.path());
    QTRY_VERIFY_WITH_TIMEOUT(forecast.size() > 0 && rows() > 0, patience);
}

void TestDrags::cleanup()
{
    if (m_window && m_window->flow()->isActive())
        m_window->flow()->close();
    m_window.reset();
}

QModelIndex TestDrags::onBoard(const QString& name) const
{
    for (int row = 0; row < board()->model()->rowCount(); ++row)
        if (board()->model()->index(row, 0).data().toString() == name)
            return board()->model()->index(row, 0);
    return {};
}

QPoint TestDrags::boardPlace(const QString& name) const
{
    const QModelIndex index = onBoard(name);
    board()->scrollTo(index);
    return board()->visualRect(index).center();
}

QPoint TestDrags::graphPlace(const std::string& ref) const
{
    const auto display = graph()->model()->lanes()->displayRowOf(snapshot()->findRef(ref)->row);
    return display ? graph()->rectOf(int(*display)).center() : QPoint(-1, -1);
}

std::vector<DropSpot*> TestDrags::spots(const QWidget* in) const
{
    std::vector<DropSpot*> found;
    for (DropSpot* spot : in->findChildren<DropSpot*>())
        if (spot->isVisible())
            found.push_back(spot);
    return found;
}

void TestDrags::beginDrag(const DragSource& source)
{
    QSignalSpy gathered(m_window->graph(), &GraphView::gatheredChanged);
    const bool fits = rows() <= graph()->roomForRows();
    Q_EMIT m_window->driftBoard()->dragBegan(source);
    QVERIFY(!fits);
    QTRY_COMPARE_WITH_TIMEOUT(gathered.size(), 1, patience);
}

void TestDrags::expectReplayOnto(const DragSource& source, const Oid& onto)
{
    QTRY_VERIFY2_WITH_TIMEOUT(m_window->flow()->run() && !m_window->flow()->isBusy(),
                              qPrintable(m_window->notice()->line()), patience);
    QCOMPARE(m_window->flow()->plan().branch, source.branch);
    QCOMPARE(m_window->flow()->plan().onto, onto);
}

void TestDrags::rowsOfTheBoard()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    const DragSource source = topic(1);
    beginDrag(source);
    Pointer pointer(board()->viewport(), source);
    // Onto itself, and onto a heading: not, and only the first says why.
    QVERIFY(!pointer.moveTo(boardPlace(QStringLiteral("topic/1"))));
    QVERIFY2(board()->dropWords().contains(QStringLiteral("cannot stand on itself")), qPrintable(board()->dropWords()));
    QVERIFY(!pointer.moveTo(board()->visualRect(board()->model()->index(0, 0)).center()));
    QVERIFY(board()->dropWords().isEmpty());
    QVERIFY(pointer.moveTo(boardPlace(QStringLiteral("topic/2"))));
    QCOMPARE(board()->dropWords(), QStringLiteral("Replay topic/1 onto topic/2"));
    // What is said is not said on the row that is aimed at.
    const QWidget* says = nullptr;
    for (const QWidget* child : board()->viewport()->findChildren<QWidget*>())
        if (child->isVisible())
            says = child;
    QVERIFY(says && !says->geometry().intersects(board()->visualRect(onBoard(QStringLiteral("topic/2")))));
    QVERIFY(pointer.drop());
    endDrag(true);
    QVERIFY(board()->dropWords().isEmpty());
    expectReplayOnto(source, tip(FarScene::topic(2)));
}

void TestDrags::theThreeCards()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    const DragSource source = topic(3); // the fork has an older version
    QVERIFY(spots(m_window->places()).empty());
    const std::map<QString, Oid> bases{
        {QStringLiteral("Replay topic/3 onto upstream/main"), tip(FarScene::mainLine)},
        {QStringLiteral("Replay topic/3 onto fork/main"), tip("refs/remotes/fork/main")},
        {QStringLiteral("Replay topic/3 onto fork/topic/3"), tip("refs/remotes/fork/topic/3")},
        {QStringLiteral("Replay topic/3 onto main"), tip("refs/heads/main")}};
    for (const auto& [words, base] : bases) {
        beginDrag(source);
        const std::vector<DropSpot*> offered = spots(m_window->places());
        QCOMPARE(offered.size(), bases.size());
        const auto at = std::ranges::find(offered, words, &DropSpot::words);
        QVERIFY2(at != offered.end(), qPrintable(words));
        // Each lies over its card, and none over another.
        for (const DropSpot* other : offered)
            QVERIFY(other == *at || other->parentWidget() != (*at)->parentWidget() ||
                    !other->geometry().intersects((*at)->geometry()));
        QVERIFY((*at)->parentWidget()->rect().contains((*at)->geometry()));
        Pointer pointer(*at, source);
        QVERIFY(pointer.moveTo((*at)->rect().center()));
        QVERIFY(pointer.drop());
        endDrag(true);
        QVERIFY(spots(m_window->places()).empty());
        expectReplayOnto(source, base);
        m_window->flow()->close();
        QTRY_VERIFY(!m_window->graph()->isGathered());
    }
    // What cannot be says why, and takes nothing.
    const DragSource main{"refs/heads/main", {}, tip("refs/heads/main"), true, QStringLiteral("main")};
    beginDrag(main);
    for (DropSpot* spot : spots(m_window->places())) {
        Pointer pointer(spot, main);
        const bool taken = pointer.moveTo(spot->rect().center()) && pointer.drop();
        QCOMPARE(taken, spot->words() == QStringLiteral("Replay main onto upstream/main"));
        QVERIFY2(taken || spot->words().contains(QStringLiteral("cannot stand on itself")), qPrintable(spot->words()));
    }
    endDrag(false);
}

void TestDrags::theBoardsHeadLine()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    const DragSource source = topic(0);
    QVERIFY(spots(m_window->driftBoard()).empty());
    beginDrag(source);
    const std::vector<DropSpot*> offered = spots(m_window->driftBoard());
    QCOMPARE(offered.size(), std::size_t(1));
    QCOMPARE(offered[0]->words(), QStringLiteral("Replay topic/0 onto upstream/main"));
    // Above the rows, none of which it covers.
    const QPoint bottom = offered[0]->mapTo(m_window.get(), offered[0]->rect().bottomLeft());
    QVERIFY(bottom.y() <= board()->viewport()->mapTo(m_window.get(), QPoint(0, 0)).y());
    Pointer pointer(offered[0], source);
    QVERIFY(pointer.moveTo(offered[0]->rect().center()));
    QVERIFY(pointer.drop());
    endDrag(true);
    QVERIFY(spots(m_window->driftBoard()).empty());
    expectReplayOnto(source, tip(FarScene::mainLine));
}

void TestDrags::edgesScroll()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    QScrollBar* bar = graph()->verticalScrollBar();
    bar->setValue(bar->maximum() / 2);
    const int middle = bar->value();
    // Without the gathered picture, which has nothing to scroll.
    const DragSource source = topic(0);
    Pointer pointer(graph()->viewport(), source);
    // Lines come and go above the list.
    const auto height = [&] { return graph()->viewport()->height(); };
    pointer.moveTo({300, height() / 2});
    QTest::qWait(200);
    QCOMPARE(bar->value(), middle);
    // Near an edge it goes on by itself while the pointer rests, and so does what is aimed at.
    pointer.moveTo({300, height() - 3});
    const QString below = graph()->dropWords();
    QTRY_VERIFY(bar->value() > middle + 2 * graph()->rectOf(0).height());
    QTRY_VERIFY(graph()->dropWords() != below);
    pointer.moveTo({300, height() / 2});
    const int rested = bar->value();
    QTest::qWait(200);
    QCOMPARE(bar->value(), rested);
    pointer.moveTo({300, 2});
    QTRY_VERIFY(bar->value() < middle);
    pointer.leave();
    const int left = bar->value();
    QTest::qWait(200);
    QCOMPARE(bar->value(), left);
    QVERIFY(graph()->dropWords().isEmpty());
}

void TestDrags::aGapOpens()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    const DragSource source = topic(0);
    beginDrag(source);
    QTRY_VERIFY_WITH_TIMEOUT(graph()->model()->isIdle(), patience);
    const auto gap = [&]() -> int {
        for (int at = 0; at < rows(); ++at)
            if (const DisplayRow row = graph()->model()->lanes()->displayed(std::size_t(at));
                row.gap && row.folded > 5 && graph()->viewport()->rect().contains(graph()->rectOf(at)))
                return at;
        return -1;
    };
    QTRY_VERIFY(gap() >= 0);
    const int before = rows();
    Pointer pointer(graph()->viewport(), source);
    // It takes no drop; passing over it opens nothing.
    QVERIFY2(!pointer.moveTo(graph()->rectOf(gap()).center()), qPrintable(graph()->dropWords()));
    QVERIFY2(graph()->dropWords().contains(QStringLiteral("wait here to open them")), qPrintable(graph()->dropWords()));
    QVERIFY(pointer.moveTo(graphPlace(FarScene::mainLine)));
    QCOMPARE(graph()->dropWords().section(QStringLiteral(": "), 0, 0),
             QStringLiteral("Replay topic/0 onto upstream/main"));
    QTest::qWait(1200);
    QCOMPARE(rows(), before);
    QVERIFY2(!pointer.moveTo(graph()->rectOf(gap()).center()), qPrintable(graph()->dropWords()));
    QTRY_VERIFY_WITH_TIMEOUT(rows() > before + 5, patience);
    // Still under way: what is shown now takes the drop, and Escape takes all of it away again.
    QVERIFY(m_window->graph()->isGathered());
    pointer.leave();
    endDrag(false);
    QTRY_VERIFY(rows() > 1000);
}

// A real press and move begin the drag; the platform of the tests ends it at once as Escape would, without a drop.
void TestDrags::whatIsNotDroppedLeavesAllAsItWas()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    m_window->graph()->goTo(snapshot()->findRef(FarScene::topic(4))->row);
    const int scrolledTo = graph()->verticalScrollBar()->value(), all = rows();
    const Row current = m_window->graph()->currentRow();
    QVERIFY(scrolledTo > 0);
    const auto asBefore = [&] {
        return rows() == all && graph()->verticalScrollBar()->value() == scrolledTo &&
               m_window->graph()->currentRow() == current && !m_window->graph()->isGathered() &&
               spots(m_window.get()).empty() && !m_window->flow()->isActive();
    };
    QVERIFY(asBefore());
    // What is read below stays, though its row is gathered away meanwhile.
    QSignalSpy told(m_window->graph(), &GraphView::currentChanged);
    // Gathered, hovered over, and then left.
    beginDrag(topic(0));
    QVERIFY(!asBefore());
    Pointer pointer(graph()->viewport(), topic(0));
    pointer.moveTo(graphPlace(FarScene::mainLine));
    pointer.leave();
    endDrag(false);
    QTRY_VERIFY(asBefore());
    for (const QList<QVariant>& one : told)
        QVERIFY(one[0].value<Row>() != noRow);

    QSignalSpy began(m_window->graph(), &GraphView::dragBegan), ended(m_window->graph(), &GraphView::dragEnded);
    const QPoint at = graphPlace(FarScene::topic(4));
    const QPoint away = at + QPoint(0, 3 * QApplication::startDragDistance());
    QTest::mousePress(graph()->viewport(), Qt::LeftButton, {}, at);
    QMouseEvent move(QEvent::MouseMove, away, graph()->viewport()->mapToGlobal(away), Qt::LeftButton, Qt::LeftButton,
                     {});
    QCoreApplication::sendEvent(graph()->viewport(), &move);
    QTRY_COMPARE(ended.size(), 1);
    QCOMPARE(began.size(), 1);
    QTest::mouseRelease(graph()->viewport(), Qt::LeftButton, {}, away);
    QTRY_VERIFY(asBefore());

    // And from the board, where the row that is pressed becomes the chosen one.
    QSignalSpy fromBoard(m_window->driftBoard(), &DriftBoard::dragBegan);
    QSignalSpy endedThere(m_window->driftBoard(), &DriftBoard::dragEnded);
    const QPoint row = boardPlace(QStringLiteral("topic/4"));
    QTest::mousePress(board()->viewport(), Qt::LeftButton, {}, row);
    for (const int far : {1, 3}) {
        const QPoint to = row + QPoint(0, far * QApplication::startDragDistance());
        QMouseEvent dragged(QEvent::MouseMove, to, board()->viewport()->mapToGlobal(to), Qt::LeftButton, Qt::LeftButton,
                            {});
        QCoreApplication::sendEvent(board()->viewport(), &dragged);
    }
    QTRY_COMPARE(endedThere.size(), 1);
    QCOMPARE(fromBoard.size(), 1);
    QCOMPARE(fromBoard[0][0].value<DragSource>().branch, FarScene::topic(4));
    QTest::mouseRelease(board()->viewport(), Qt::LeftButton, {}, row);
    QTRY_VERIFY(asBefore());
}

void TestDrags::theKeyboardHasTheSameBases()
{
    m_window->graph()->setFolded(false);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > 1000, patience);
    const DragSource source = topic(3);
    // By keyboard: what each base in the list is said to do. Tags and the fork's versions of other topics are in it too; by mouse
    // those are labels in the history alone, which takes scrolling.
    std::map<std::string, QString> byKey;
    QTimer::singleShot(0, this, [&] {
        auto* dialog = qobject_cast<QDialog*>(QApplication::activeModalWidget());
        QVERIFY(dialog);
        const auto* list = dialog->findChild<QListWidget*>();
        for (int at = 0; at < list->count(); ++at) {
            const QListWidgetItem* item = list->item(at);
            const QString words = item->data(Qt::AccessibleDescriptionRole).toString();
            const Ref& ref = snapshot()->refs[std::size_t(item->data(Qt::UserRole).toULongLong())];
            const bool copyOfAnother = ref.place == Place::Fork && ref.branch != "main" && ref.branch != "topic/3";
            if (ref.kind != RefKind::Tag && !copyOfAnother)
                byKey[ref.name] = words;
            QCOMPARE(bool(item->flags() & Qt::ItemIsEnabled), words.startsWith(QStringLiteral("Replay")));
        }
        dialog->reject();
    });
    m_window->askReplayOnto(source.branch);
    QVERIFY(byKey.size() > 9);

    beginDrag(source);
    std::map<std::string, QString> byMouse;
    const auto find = [&](const QString& words) {
        for (const auto& [name, said] : byKey)
            if (said == words)
                byMouse[name] = words;
    };
    for (const DropSpot* spot : spots(m_window.get()))
        find(spot->words());
    Pointer overBoard(board()->viewport(), source);
    for (int row = 0; row < board()->model()->rowCount(); ++row) {
        const QModelIndex index = board()->model()->index(row, 0);
        board()->scrollTo(index);
        const bool taken = overBoard.moveTo(board()->visualRect(index).center());
        const QString words = board()->dropWords();
        QCOMPARE(taken, words.startsWith(QStringLiteral("Replay")));
        find(words);
    }
    overBoard.leave();
    Pointer overGraph(graph()->viewport(), source);
    for (int row = 0; row < rows(); ++row) {
        overGraph.moveTo(graph()->rectOf(row).center());
        QString words = graph()->dropWords();
        // With how many commits will stand there, when they have been counted.
        words.remove(QRegularExpression(QStringLiteral(": \\d+ commits?$")));
        if (!words.isEmpty() && !snapshot()->refsAt(graph()->model()->rowAt(row)).empty())
            find(words);
    }
    overGraph.leave();
    endDrag(false);
    QStringList keys, mouse;
    for (const auto& [name, words] : byKey)
        keys << QString::fromStdString(name) + QStringLiteral(": ") + words;
    for (const auto& [name, words] : byMouse)
        mouse << QString::fromStdString(name) + QStringLiteral(": ") + words;
    QCOMPARE(mouse.join(QLatin1Char('\n')), keys.join(QLatin1Char('\n')));
}

QTEST_MAIN(TestDrags)
#include "test_drags.moc"
