// SPDX-License-Identifier: MIT
//
// What the record makes of what was settled: a policy is learnt, closer likeness outweighs the project, one big merge does not
// dominate, nothing is said without evidence, and where guesses have failed they are shown no more.
#include "core/git/text.h"
#include "core/propose/file_hunks.h"
#include "core/propose/reason.h"
#include "core/propose/words.h"

#include <QtTest>

using namespace espalier;

namespace {

// A file of one hunk whose texts are unlike all others, settled with the new base's text, the commit's, or another.
enum class How { NewBase, Commit, Other };

Record::Learnt settled(const std::string& path, int number, How how, std::uint64_t merge)
{
    const std::string n =
        std::string("word") + char('a' + number % 26) + char('a' + number / 26 % 26) + char('a' + number / 676 % 26);
    const std::string ancestor = "old " + n + " here\n", newBase = "base " + n + " x" + n + "\n",
                      commit = "topic " + n + " y" + n + "\n";
    const HunkTexts texts{ancestor, newBase, commit};
    Record::Learnt one{{path, merge, 1, 0, 0, 0, 1}, {factsOf(texts, candidatesFor(texts))}};
    one.hunks[0].settled = how == How::NewBase  ? one.hunks[0].texts[0].sum
                           : how == How::Commit ? one.hunks[0].texts[1].sum
                                                : sumOf("something else " + n);
    return one;
}

struct Asked {
    std::optional<Guess> guess;
    bool shown = false;
};
Asked ask(const Record& record, const std::string& path, int number, std::uint64_t merge)
{
    const Record::Learnt question = settled(path, number, How::NewBase, merge);
    const Record* const records[]{&record};
    Asked asked{guessFor(records, question.file, question.hunks[0]), false};
    asked.shown = asked.guess && mayShow(records, *asked.guess);
    return asked;
}

// `merges` merges of `each` hunks in the file.
void learn(Record& record, const std::string& path, How how, int merges, int each = 1, int first = 0)
{
    for (int merge = 0; merge < merges; ++merge) {
        std::vector<Record::Learnt> files;
        for (int i = 0; i < each; ++i)
            files.push_back(settled(path, first + merge * each + i, how, std::uint64_t(first + merge + 1)));
        record.learn(files);
    }
}

} // namespace

class TestRecord : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void nothingWithoutEvidence()
    {
        const Record record;
        const Asked asked = ask(record, "a.txt", 0, 1000);
        QVERIFY(!asked.guess);
        QVERIFY(!asked.shown);
    }

    void oneMergeIsNoPolicy()
    {
        Record record;
        // Even the very same texts, time and again.
        for (int i = 0; i < 300; ++i)
            record.learn(std::vector<Record::Learnt>{settled("a.txt", 5000, How::Commit, 1)});
        QVERIFY(ask(record, "a.txt", 5000, 1).guess->confidence > .97);
        QVERIFY(!ask(record, "a.txt", 5000, 1).shown);
    }

    void aPolicyIsLearnt_data()
    {
        QTest::addColumn<int>("how");
        QTest::addColumn<int>("kind");
        QTest::newRow("new base") << int(How::NewBase) << int(CandidateKind::NewBase);
        QTest::newRow("commit") << int(How::Commit) << int(CandidateKind::Commit);
    }
    void aPolicyIsLearnt()
    {
        QFETCH(int, how);
        QFETCH(int, kind);
        Record record;
        learn(record, "doc/a.txt", How(how), 60, 2);
        const Asked asked = ask(record, "doc/a.txt", 5000, 1000);
        QVERIFY(asked.guess);
        QCOMPARE(int(asked.guess->kind), kind);
        QVERIFY2(asked.shown, qPrintable(QString::number(asked.guess->confidence)));
    }

    void noPolicyShowsNothing()
    {
        Record record;
        for (int i = 0; i < 60; ++i)
            learn(record, "doc/a.txt", How(i % 3), 1, 2, i * 10);
        QVERIFY(!ask(record, "doc/a.txt", 5000, 1000).shown);
    }

    void theFileOutweighsTheProject()
    {
        Record record;
        for (int i = 0; i < 40; ++i) {
            learn(record, "doc/CHANGES", How::Commit, 1, 1, i * 10);
            learn(record, "src/code" + std::to_string(i) + ".c", How::NewBase, 1, 3, i * 10 + 2);
        }
        QCOMPARE(int(ask(record, "doc/CHANGES", 5000, 1000).guess->kind), int(CandidateKind::Commit));
        QCOMPARE(int(ask(record, "src/new.c", 5000, 1000).guess->kind), int(CandidateKind::NewBase));
    }

    void oneBigMergeDoesNotDominate()
    {
        Record record;
        learn(record, "a.txt", How::NewBase, 100, 1);
        const double before = ask(record, "a.txt", 5000, 1000).guess->confidence;
        Record many;
        learn(many, "a.txt", How::NewBase, 50, 1);
        learn(many, "a.txt", How::Commit, 1, 200, 200);
        learn(many, "a.txt", How::NewBase, 50, 1, 500);
        const auto after = ask(many, "a.txt", 5000, 1000).guess;
        QCOMPARE(int(after->kind), int(CandidateKind::NewBase)); // 100 of 300 hunks, but 100 of 101 merges
        QVERIFY(after->confidence < before);
    }

    void thisMergeCounts()
    {
        Record record;
        learn(record, "a.txt", How::NewBase, 30, 1);
        const double elsewhere = ask(record, "a.txt", 5000, 1000).guess->confidence;
        std::vector<Record::Learnt> sameMerge;
        for (int i = 0; i < 6; ++i)
            sameMerge.push_back(settled("a.txt", 300 + i, How::Other, 1000));
        record.learn(sameMerge);
        QVERIFY(ask(record, "a.txt", 5000, 1000).guess->confidence < elsewhere - .1);
    }

    void whatFailsIsShownNoMore()
    {
        Record record;
        learn(record, "a.txt", How::NewBase, 60, 2);
        QVERIFY(ask(record, "a.txt", 5000, 2000).shown);
        // Another file of the same kind where everything was settled by hand; the guesses for it were wrong.
        for (int i = 0; i < 12; ++i)
            learn(record, "b" + std::to_string(i) + ".txt", How::Other, 1, 3, 400 + 10 * i);
        const Asked after = ask(record, "a.txt", 5000, 2000);
        QVERIFY2(!after.shown, qPrintable(QString::number(after.guess->confidence)));
    }

    void theSameAgain()
    {
        Record record;
        learn(record, "a.txt", How::Other, 3);
        const std::vector<Record::Learnt> once{settled("b.txt", 77, How::Other, 500)};
        record.learn(once);
        const auto guess = ask(record, "c.txt", 77, 1000).guess;
        QCOMPARE(int(guess->kind), int(CandidateKind::Before));
        QCOMPARE(guess->sum, once[0].hunks[0].settled);
    }

    void twoRecordsAreOne()
    {
        Record both, one, two;
        learn(both, "a.txt", How::NewBase, 20, 1);
        learn(both, "a.txt", How::Commit, 20, 1, 100);
        learn(one, "a.txt", How::NewBase, 20, 1);
        learn(two, "a.txt", How::Commit, 20, 1, 100);
        const Record::Learnt question = settled("a.txt", 5000, How::NewBase, 1000);
        const Record* const apart[]{&one, &two};
        const Record* const together[]{&both};
        const auto a = guessFor(apart, question.file, question.hunks[0]);
        const auto b = guessFor(together, question.file, question.hunks[0]);
        QCOMPARE(a->merges, b->merges);
        QCOMPARE(a->counts.of, b->counts.of);
    }

    void reasons()
    {
        Guess guess;
        guess.kind = CandidateKind::CommitFirst;
        guess.alike = Alike::Path;
        guess.counts = {10, 9};
        QCOMPARE(reasonFor(guess, "CHANGELOG.md"), "9 of 10 in CHANGELOG.md were settled with both, yours first");
        guess.kind = CandidateKind::NewBase;
        guess.alike = Alike::Ending;
        guess.counts = {1, 1};
        QCOMPARE(reasonFor(guess, "doc/a.txt"),
                 "1 of 1 in files that end in .txt was settled with the new base's text");
        guess.alike = Alike::Path;
        QVERIFY(!reasonFor(guess, "a\x1b[31m\nb").contains('\x1b'));
        QVERIFY(!reasonFor(guess, "a\nb").contains('\n'));
    }

    void everyLikenessHasItsWords()
    {
        Guess guess;
        guess.counts = {3, 3};
        for (int alike = 0; alike < alikes; ++alike)
            for (int kind = 0; kind < candidateKinds; ++kind) {
                guess.alike = Alike(alike);
                guess.kind = CandidateKind(kind);
                const std::string reason = reasonFor(guess, "doc/a.txt");
                QVERIFY2(reason.starts_with("3 of 3 ") && reason.contains(" were settled with "), reason.c_str());
            }
    }
};

QTEST_GUILESS_MAIN(TestRecord)
#include "test_record.moc"
