// SPDX-License-Identifier: MIT
//
// The graph while something is dragged: it gathers to one screen and springs back to where one was.
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "core/git/repository.h"
#include "tests/support/temp_repository.h"

#include <QScrollBar>
#include <QSignalSpy>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestGathered : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void gathersAndSpringsBack();
};

void TestGathered::gathersAndSpringsBack()
{
    TempRepository repo;
    BulkHistory bulk;
    int main = bulk.commit("main", {}, {{"a", "0\n"}, {"b", "0\n"}}, "Root");
    bulk.commit("topic", {main}, {{"a", "topic\n"}}, "Topic");
    for (int k = 1; k <= 400; ++k)
        main = bulk.commit("main", {main}, {{k % 100 == 0 ? "a" : "b", std::to_string(k) + "\n"}}, "Main");
    bulk.import(repo);
    const SnapshotPtr snapshot = takeSnapshot(repo.open()).value();
    GraphView view;
    view.resize(1000, 640);
    view.setSnapshot(snapshot, layOut(snapshot).value());
    view.show();
    QVERIFY(QTest::qWaitForWindowExposed(&view));
    auto* list = view.findChild<GraphList*>();
    const Ref* topic = snapshot->findRef("refs/heads/topic");
    view.goTo(topic->row);
    const int scrolledTo = list->verticalScrollBar()->value();
    QVERIFY(scrolledTo > 0);

    QSignalSpy gathered(&view, &GraphView::gatheredChanged);
    view.gatherFor({topic->name, {}, topic->tip, true, "topic"});
    QTRY_COMPARE(gathered.size(), 1);
    QVERIFY(view.isGathered());
    // With the four that touch the same file, when they are found.
    const auto touched = [&] {
        std::uint32_t found = 0;
        for (int at = 0; at < list->model()->rowCount(); ++at)
            found += list->model()->lanes()->displayed(std::size_t(at)).touching;
        return found;
    };
    QTRY_COMPARE(touched(), 4u);
    QVERIFY(list->model()->rowCount() <= list->roomForRows());
    QVERIFY(list->rectOf(int(*list->model()->lanes()->displayRowOf(snapshot->mainLineRef()->row))).top() >= 0);

    view.scatter();
    QVERIFY(!view.isGathered());
    QCOMPARE(list->model()->rowCount(), 402);
    QCOMPARE(list->verticalScrollBar()->value(), scrolledTo);
    QCOMPARE(view.currentRow(), topic->row);
}

QTEST_MAIN(TestGathered)
#include "test_gathered.moc"
