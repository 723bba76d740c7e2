// SPDX-License-Identifier: MIT
//
// Proposals from a repository's own merges and from a session: a policy is learnt, a project without a record gets nothing, nothing
// that the given commit does not reach is looked at, and what is kept on disk may be damaged or gone.
#include "core/git/files.h"
#include "core/propose/mined_store.h"
#include "core/propose/past_merges.h"
#include "core/propose/proposer.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

// The middle line of a file, between lines that stay.
std::string file(const std::string& middle) { return "first\nsecond\nthird\n" + middle + "\nfifth\nsixth\nseventh\n"; }
std::string word(int number)
{
    std::string text = "w";
    for (; number > 0; number /= 20)
        text += char('a' + number % 20);
    return text;
}

// A main line into which topics were merged; each merge conflicted and was settled with the topic's text.
struct Policy {
    explicit Policy(int merges)
    {
        BulkHistory bulk;
        int tip = bulk.commit("main", {}, {{"doc/notes.txt", file("start")}}, "Root");
        marks.push_back(tip);
        for (int i = 0; i < merges; ++i) {
            const int topic = bulk.commit("topic", {tip}, {{"doc/notes.txt", file("topic " + word(i))}}, "Topic");
            const int on = bulk.commit("main", {tip}, {{"doc/notes.txt", file("base " + word(i))}}, "On");
            tip = bulk.commit("main", {on, topic}, {{"doc/notes.txt", file("topic " + word(i))}}, "Merge");
            marks.push_back(tip);
        }
        const std::vector<std::string> all = bulk.import(repo);
        for (const int mark : marks)
            ids.push_back(*Oid::parse(all[std::size_t(mark)]));
    }
    Oid blob(const std::string& text) const { return *Oid::parse(repo.writeRaw("blob", text)); }
    ProposalQuestion question(std::optional<Oid> onto) const
    {
        return {"doc/notes.txt", blob(file("base of it")), blob(file("base has this")), blob(file("topic brings that")),
                onto};
    }
    std::filesystem::path store() const { return fsPath / "espalier" / "settled-merges"; }

    TempRepository repo{TempRepository::Bare};
    std::filesystem::path fsPath = repo.fsPath();
    std::vector<int> marks;
    std::vector<Oid> ids; // the root, then the merges
};

std::optional<Proposal> ask(Proposer& proposer, const ProposalQuestion& question)
{
    const auto answer = proposer.propose(question);
    if (!answer) {
        qWarning() << answer.error().line().c_str();
        return std::nullopt;
    }
    return answer->hunks.size() == 1 ? answer->hunks[0].proposal : std::nullopt;
}

} // namespace

class TestProposer : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void aPolicyIsLearnt()
    {
        const Policy scene(120);
        const Repository repository = scene.repo.open();
        Proposer proposer(repository);
        const auto proposal = ask(proposer, scene.question(scene.ids.back()));
        QVERIFY(proposal);
        QCOMPARE(proposal->kind, "your-commit");
        QCOMPARE(proposal->text, "topic brings that\n");
        QVERIFY2(proposal->reason.contains("120 of 120 ") && proposal->reason.contains("doc/notes.txt"),
                 proposal->reason.c_str());
    }

    void whatOntoDoesNotReachIsNotLookedAt()
    {
        const Policy scene(120);
        const Repository repository = scene.repo.open();
        {
            Proposer proposer(repository);
            QVERIFY(!ask(proposer, scene.question(scene.ids.front())));
            QVERIFY(!ask(proposer, scene.question(scene.ids[1])));
            QVERIFY(!ask(proposer, scene.question(std::nullopt)));
        }
        const auto kept = MinedStore(repository).read();
        QCOMPARE(kept.size(), 1u); // the one merge that ids[1] is
        QCOMPARE(kept[0].merge, scene.ids[1]);
        // What has been looked at for another commit meanwhile plays no part either.
        Proposer proposer(repository);
        QVERIFY(ask(proposer, scene.question(scene.ids.back())));
        QVERIFY(!ask(proposer, scene.question(scene.ids[1])));
        PastMerges past(repository);
        QCOMPARE((*past.recordFor(scene.ids.back()))->hunks(), 120u);
        QCOMPARE((*past.recordFor(scene.ids[3]))->hunks(), 3u);
        QCOMPARE((*past.recordFor(scene.ids[5]))->hunks(), 5u);
    }

    void withoutARecord()
    {
        const Policy scene(0);
        const Repository repository = scene.repo.open();
        Proposer proposer(repository);
        const auto answer = proposer.propose(scene.question(scene.ids.back()));
        QVERIFY(answer);
        QCOMPARE(answer->hunks.size(), 1u);
        QVERIFY(!answer->hunks[0].proposal);
        QCOMPARE(answer->hunks[0].newBase, (LineRange{3, 1}));
        QCOMPARE(answer->between.size(), 2u);
        QCOMPARE(answer->between[1], "fifth\nsixth\nseventh\n");
    }

    void whatIsKeptMayBeDamaged_data()
    {
        QTest::addColumn<int>("damage");
        QTest::newRow("gone") << 0;
        QTest::newRow("cut off") << 1;
        QTest::newRow("a byte turned") << 2;
        QTest::newRow("no such file") << 3;
        QTest::newRow("empty") << 4;
    }
    void whatIsKeptMayBeDamaged()
    {
        QFETCH(int, damage);
        const Policy scene(120);
        const Repository repository = scene.repo.open();
        QVERIFY(PastMerges(repository).recordFor(scene.ids.back()));
        std::string bytes = *readFileBounded(scene.store(), 1 << 24);
        QCOMPARE(MinedStore(repository).read().size(), 120u);
        if (damage == 0)
            std::filesystem::remove(scene.store());
        if (damage == 1)
            bytes.resize(bytes.size() / 2);
        if (damage == 2)
            bytes[bytes.size() / 2] = char(bytes[bytes.size() / 2] ^ 1);
        if (damage == 3)
            bytes = "something else";
        if (damage == 4)
            bytes.clear();
        if (damage != 0)
            QVERIFY(writeFileAtomically(scene.store(), bytes));
        const std::size_t left = MinedStore(repository).read().size();
        QVERIFY2(damage == 1 || damage == 2 ? left > 0 && left < 120 : left == 0, qPrintable(QString::number(left)));
        {
            Proposer proposer(repository);
            QVERIFY(ask(proposer, scene.question(scene.ids.back())));
        }
        QCOMPARE(MinedStore(repository).read().size(), 120u); // and it is whole again
    }

    void whatIsKeptIsWhatWasFound()
    {
        const Policy scene(3);
        const Repository repository = scene.repo.open();
        QVERIFY(PastMerges(repository).recordFor(scene.ids.back()));
        const auto kept = MinedStore(repository).read();
        QCOMPARE(kept.size(), 3u);
        const MinedFile& found = kept.back().files.at(0);
        QCOMPARE(found.facts.path, "doc/notes.txt");
        QCOMPARE(found.hunks.size(), 1u);
        QCOMPARE(found.hunks[0].place, (LineRange{3, 1}));
        QCOMPARE(found.hunks[0].facts.settled, found.hunks[0].facts.texts.at(1).sum);
        QCOMPARE(found.hunks[0].facts.texts[0].honoured.putInByNewBase, 100);
        QCOMPARE(found.hunks[0].facts.texts[1].honoured.putInByNewBase, 50); // the word that both have
    }

    void aSessionIsLearnt()
    {
        Policy scene(0);
        const Repository repository = scene.repo.open();
        Proposer proposer(repository);
        for (int i = 0; i < 60; ++i) {
            // Each as if on another commit: settlements of one replay alone are no policy.
            const Oid onto = *Oid::parse(scene.repo.commitFiles({}, "On " + std::to_string(i), {scene.ids[0].hex()}));
            const ProposalQuestion question{"doc/notes.txt", scene.blob(file("start " + word(i))),
                                            scene.blob(file("base " + word(i))), scene.blob(file("topic " + word(i))),
                                            onto};
            QVERIFY(proposer.propose(question));
            QVERIFY(proposer.settled(scene.blob(file("topic " + word(i)))));
        }
        const auto proposal = ask(proposer, scene.question(scene.ids.back()));
        QVERIFY(proposal);
        QCOMPARE(proposal->kind, "your-commit");
        // And it ends with the session.
        Proposer another(repository);
        QVERIFY(!ask(another, scene.question(scene.ids.back())));
    }

    void whatIsMissingIsSaid()
    {
        const Policy scene(1);
        const Repository repository = scene.repo.open();
        Proposer proposer(repository);
        ProposalQuestion question = scene.question(scene.ids.back());
        question.commit = *Oid::parse("0123456789012345678901234567890123456789");
        QVERIFY(!proposer.propose(question));
        question = scene.question(*Oid::parse("0123456789012345678901234567890123456789"));
        QVERIFY(!proposer.propose(question));
        std::stop_source stop;
        stop.request_stop();
        Proposer stopped(repository);
        const auto answer = stopped.propose(scene.question(scene.ids.back()), {stop.get_token(), {}});
        QVERIFY(!answer);
        QCOMPARE(int(answer.error().kind), int(ErrorKind::Cancelled));
    }
};

QTEST_GUILESS_MAIN(TestProposer)
#include "test_proposer.moc"
