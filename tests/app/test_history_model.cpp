// SPDX-License-Identifier: MIT
//
// The rows of the graph have the texts of the commits that they are now: after a rewrite the same rows are other commits. And
// how rows are read out: folds, labels.
#include "app/history/history_model.h"
#include "app/history/words.h"
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
    void foldsSayWhatTheyHold();
    void replacementsAreNamedByWhatTheyReplace();
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

void TestHistoryModel::foldsSayWhatTheyHold()
{
    QCOMPARE(foldedWords({0, 1, 0}), QStringLiteral("1 commit"));
    QCOMPARE(foldedWords({0, 24, 1}), QStringLiteral("24 commits, 1 label"));
    TempRepository repo;
    std::string tip = repo.commitFiles({{"a.txt", "0\n"}}, "Root", {}, "main");
    for (int count = 1; count <= 8; ++count) {
        tip = repo.commitFiles({{"a.txt", std::to_string(count) + "\n"}}, "Change", {tip}, "main");
        if (count == 4)
            repo.git({"branch", "topic/landed", tip.c_str()});
    }
    HistoryModel model;
    const SnapshotPtr snapshot = takeSnapshot(repo.open()).value();
    LanesOptions options;
    options.fold = true;
    model.set(snapshot, layOut(snapshot, options).value());
    QCOMPARE(model.rowCount(), 3); // the main line's tip, the fold, the root
    QVERIFY2(model.spokenText(1).contains(QStringLiteral("folded in: 6 commits, 1 label")),
             qPrintable(model.spokenText(1)));
    QVERIFY(!model.spokenText(0).contains(QStringLiteral("folded")));
}

void TestHistoryModel::replacementsAreNamedByWhatTheyReplace()
{
    TempRepository repo;
    const std::string first = repo.commitFiles({{"a.txt", "1\n"}}, "First", {}, "main");
    const std::string second = repo.commitFiles({{"a.txt", "2\n"}}, "Second", {first}, "main");
    const std::string other = repo.commitFiles({{"a.txt", "3\n"}}, "Other", {first});
    repo.git({"replace", second.c_str(), other.c_str()});
    const SnapshotPtr snapshot = takeSnapshot(repo.open()).value();
    const Ref* replacement = snapshot->findByAnyName("replace/" + second);
    QVERIFY(replacement);
    QCOMPARE(refLabel(*replacement), QStringLiteral("replaces ") + QString::fromStdString(second.substr(0, 7)));
}

QTEST_GUILESS_MAIN(TestHistoryModel)
#include "test_history_model.moc"
