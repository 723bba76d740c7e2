// SPDX-License-Identifier: MIT
//
// The rows of the graph have the texts of the commits that they are now: after a rewrite the same rows are other commits.
#include "app/history/history_model.h"
#include "core/history/snapshot.h"
#include "core/lanes/lanes.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestHistoryModel : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void rewrittenRowsAreReadAgain();
};

void TestHistoryModel::rewrittenRowsAreReadAgain()
{
    TempRepository repo;
    const std::string first = repo.commitFiles({{"a.txt", "1\n"}}, "First", {}, "main");
    repo.commitFiles({{"a.txt", "2\n"}}, "Second", {first}, "main");
    HistoryModel model;
    const auto show = [&] {
        const Repository repository = repo.open();
        const SnapshotPtr snapshot = takeSnapshot(repository).value();
        model.set(snapshot, layOut(snapshot).value());
        model.want(0, 1); // what is in sight
    };
    const auto subject = [&](int row) { return model.summary(row) ? model.summary(row)->subject : QString(); };
    show();
    QTRY_COMPARE(subject(0), QStringLiteral("Second"));
    QTRY_COMPARE(subject(1), QStringLiteral("First"));
    // As many rows as before, and the last one is the same commit.
    repo.commitFiles({{"a.txt", "3\n"}}, "Second, rewritten", {first}, "main");
    show();
    QTRY_COMPARE(subject(0), QStringLiteral("Second, rewritten"));
}

QTEST_GUILESS_MAIN(TestHistoryModel)
#include "test_history_model.moc"
