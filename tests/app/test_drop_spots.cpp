// SPDX-License-Identifier: MIT
//
// Places beside the history that take a drop: the cards and the board's head line say what it would do, do it, and say why not.
// And what another dry run announced is not to be seen while something is dragged.
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/support/drop_spot.h"
#include "app/support/drop_words.h"
#include "core/lanes/lanes.h"
#include "tests/support/temp_repository.h"

#include <QDragEnterEvent>
#include <QDropEvent>
#include <QMimeData>
#include <QSignalSpy>
#include <QtTest>

#include <memory>

using namespace espalier;
using namespace espalier::test;

class TestDropSpots : public QObject {
    Q_OBJECT

    TempRepository m_repo;
    SnapshotPtr m_snapshot;

    Oid tip(const char* ref) const { return m_snapshot->findRef(ref)->tip; }
    DragSource topic() const { return {"refs/heads/topic", {}, tip("refs/heads/topic"), true, "topic"}; }
    DropTarget onto(const char* ref) const { return {tip(ref), ref, QString::fromUtf8(ref).section('/', 2)}; }

    // What Qt sends for a drag over the spot that is let go there; whether it was taken.
    static bool dropOn(DropSpot& spot, const DragSource& source)
    {
        const std::unique_ptr<QMimeData> data = encodeDrag(source);
        QDragEnterEvent enter(QPoint(5, 5), Qt::MoveAction | Qt::LinkAction, data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(&spot, &enter);
        QDragMoveEvent move(QPoint(6, 6), Qt::MoveAction | Qt::LinkAction, data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(&spot, &move);
        if (!enter.isAccepted() || !move.isAccepted())
            return false;
        QDropEvent drop(QPointF(6, 6), Qt::MoveAction | Qt::LinkAction, data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(&spot, &drop);
        return drop.isAccepted();
    }

  private Q_SLOTS:
    void initTestCase()
    {
        BulkHistory bulk;
        int main = bulk.commit("main", {}, {{"f", "0\n"}}, "Root");
        const int low = bulk.commit("topic", {main}, {{"g", "1\n"}}, "Low");
        bulk.commit("topic", {low}, {{"g", "2\n"}}, "High");
        for (int i = 1; i <= 200; ++i)
            main = bulk.commit("main", {main}, {{"f", std::to_string(i) + "\n"}}, "Main");
        bulk.commit("other", {main}, {{"h", "1\n"}}, "Other");
        bulk.import(m_repo);
        m_snapshot = takeSnapshot(m_repo.open()).value();
    }

    void oneAnswer()
    {
        const DropAnswer yes = answerDrop(*m_snapshot, topic(), onto("refs/heads/main"));
        QVERIFY(yes.allowed);
        QCOMPARE(yes.words, QString("Replay topic onto main"));
        const DropAnswer self = answerDrop(*m_snapshot, topic(), onto("refs/heads/topic"));
        QVERIFY(!self.allowed && self.words.contains("cannot stand on itself"));
        // The upper commit alone: not onto what it stands on, nor the lower two onto one of them.
        const Oid low =
            m_snapshot->history.id(m_snapshot->history.parents(m_snapshot->findRef("refs/heads/topic")->row)[0]);
        QVERIFY(
            !answerDrop(*m_snapshot, {{}, low, tip("refs/heads/topic"), false, "1 commit"}, {low, {}, "Low"}).allowed);
        const Oid root = m_snapshot->history.id(m_snapshot->history.parents(m_snapshot->history.find(low))[0]);
        QVERIFY(!answerDrop(*m_snapshot, {{}, root, tip("refs/heads/topic"), false, "2 commits"}, {low, {}, "Low"})
                     .allowed);
        Oid gone = root;
        gone.bytes[0] = std::uint8_t(~gone.bytes[0]);
        QVERIFY(!answerDrop(*m_snapshot, topic(), {gone, {}, "gone"}).allowed);
    }

    void takesADrop()
    {
        QWidget card;
        card.resize(200, 60);
        card.show();
        DropSpot spot(Place::Upstream, &card);
        spot.setGeometry(card.rect());
        QSignalSpy dropped(&spot, &DropSpot::dropped);
        QVERIFY(!spot.isVisible());
        const DropTarget main = onto("refs/heads/main");
        spot.offer(topic(), main, answerDrop(*m_snapshot, topic(), main));
        QVERIFY(spot.isVisible());
        QCOMPARE(spot.accessibleName(), QString("Replay topic onto main"));
        QVERIFY(dropOn(spot, topic()));
        QTRY_COMPARE(dropped.size(), 1);
        QCOMPARE(dropped[0][1].value<DropTarget>().commit, main.commit);
        QCOMPARE(dropped[0][0].value<DragSource>().branch, std::string("refs/heads/topic"));

        // What cannot be done says why, and takes nothing.
        spot.offer(topic(), onto("refs/heads/topic"), answerDrop(*m_snapshot, topic(), onto("refs/heads/topic")));
        QVERIFY(!dropOn(spot, topic()));
        QTest::qWait(0);
        QCOMPARE(dropped.size(), 1);
        spot.withdraw();
        QVERIFY(!spot.isVisible());
    }

    void anothersGhostIsHidden()
    {
        GraphView view;
        view.resize(1000, 640);
        view.setSnapshot(m_snapshot, layOut(m_snapshot).value());
        view.show();
        QVERIFY(QTest::qWaitForWindowExposed(&view));
        auto* list = view.findChild<GraphList*>();
        view.goTo(m_snapshot->findRef("refs/heads/main")->row);
        const auto ghosts = [&] {
            return std::ranges::count_if(list->visibleRows(), [](const ViewRow& row) { return row.ghost >= 0; });
        };
        const ReplayGhost ghost{tip("refs/heads/main"), "topic", {{tip("refs/heads/topic"), "High", Outcome::Clean}}};
        view.setGhost(ghost);
        QCOMPARE(ghosts(), std::ptrdiff_t(1));
        view.gatherFor({"refs/heads/other", {}, tip("refs/heads/other"), true, "other"});
        QCOMPARE(ghosts(), std::ptrdiff_t(0));
        QTRY_VERIFY(view.isGathered());
        QCOMPARE(ghosts(), std::ptrdiff_t(0));
        view.scatter(); // not dropped: the dry run is still open
        QCOMPARE(ghosts(), std::ptrdiff_t(1));
        view.setGhost({});
        view.scatter();
        QCOMPARE(ghosts(), std::ptrdiff_t(0));
    }
};

QTEST_MAIN(TestDropSpots)
#include "test_drop_spots.moc"
