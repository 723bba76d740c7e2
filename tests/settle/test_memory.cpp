// SPDX-License-Identifier: MIT
//
// A settled hunk is known again when it returns the same, the other way round, with other white space, with more or fewer lines
// around it; what is like two that were settled differently is not; and what is kept is bounded, ages, and may be damaged.
#include "core/git/files.h"
#include "core/settle/compose.h"
#include "core/settle/memory_store.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <ctime>
#include <fstream>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr std::int64_t now = 1'800'000'000;

struct Hunk {
    std::string ancestor, newBase, commit;
    HunkSides sides() const { return {ancestor, newBase, commit}; }
};

SettledBefore settled(const Hunk& hunk, HunkDecision decision, std::int64_t when = now - 1000)
{
    return {textsOfHunk(hunk.ancestor, hunk.newBase, hunk.commit),
            SettledBefore::Sides{hunk.ancestor, hunk.newBase, hunk.commit},
            std::move(decision),
            "lib/tide.c",
            "topic/tides",
            *Oid::parse(std::string(40, 'a')),
            "Count the tides",
            when};
}

const Hunk tide{"    int tide = 1;\n    use(tide);\n", "    long tide = 1;\n    use(tide);\n",
                "    int tide = 2;\n    use(tide);\n"};
const HunkDecision both{Choice::Typed, "    long tide = 2;\n    use(tide);\n"};

} // namespace

class TestMemory : public QObject {
    Q_OBJECT

    static void row(const char* name, const Hunk& before, const HunkDecision& decision, const Hunk& met, int likeness,
                    const std::string& text)
    {
        QTest::newRow(name) << before << decision << met << likeness << QByteArray::fromStdString(text);
    }

  private Q_SLOTS:
    void knownAgain_data()
    {
        QTest::addColumn<Hunk>("before");
        QTest::addColumn<HunkDecision>("decision");
        QTest::addColumn<Hunk>("met");
        QTest::addColumn<int>("likeness"); // -1: not known
        QTest::addColumn<QByteArray>("text");
        const Hunk turned{tide.ancestor, tide.commit, tide.newBase};
        row("the same", tide, both, tide, int(Likeness::Same), both.text);
        row("the same, a side", tide, {Choice::NewBase, {}}, tide, int(Likeness::Same), tide.newBase);
        row("swapped, typed", tide, both, turned, int(Likeness::Swapped), both.text);
        row("swapped, a side", tide, {Choice::NewBase, {}}, turned, int(Likeness::Swapped), tide.newBase);
        row("swapped, both sides", tide, {Choice::NewBaseFirst, {}}, turned, int(Likeness::Swapped),
            tide.newBase + tide.commit);
        const Hunk deeper{"\tint tide = 1;\n\tuse(tide);\n", "\tlong tide = 1;\n\tuse(tide);\n",
                          "\tint  tide = 2;\n\tuse(tide);\n"};
        row("reindented, a side", tide, {Choice::YourCommit, {}}, deeper, int(Likeness::Spaces), deeper.commit);
        row("reindented, typed", tide, both, deeper, int(Likeness::Spaces), "\tlong tide = 2;\n\tuse(tide);\n");
        const Hunk turnedDeeper{deeper.ancestor, deeper.commit, deeper.newBase};
        row("reindented and swapped", tide, {Choice::YourCommit, {}}, turnedDeeper, int(Likeness::Spaces),
            deeper.commit);
        const Hunk dos{"    int tide = 1;\r\n    use(tide);\r\n", "    long tide = 1;\r\n    use(tide);\r\n",
                       "    int tide = 2;\r\n    use(tide);\r\n"};
        row("other line ends, typed", tide, both, dos, int(Likeness::Spaces),
            "    long tide = 2;\r\n    use(tide);\r\n");
        // A line of its own that stood deeper than all that is known of how lines are indented now.
        row("typed where no line shows how deep", tide, {Choice::Typed, "            deep(tide);\n"}, deeper, -1, "");
        const Hunk onlySpaces{"a;\n", "\ta;\n", "  a;\n"}, otherSpaces{" a;\n", "\t\ta;\n", "    a;\n"};
        row("sides that differ in nothing else", onlySpaces, {Choice::NewBase, {}}, otherSpaces, -1, "");
        const Hunk more{"head\n" + tide.ancestor + "foot\n", "head of newer times\n" + tide.newBase + "foot\n",
                        "head\n" + tide.commit + "foot, longer\n"};
        row("more around it", tide, both, more, int(Likeness::Surroundings),
            "head of newer times\n" + both.text + "foot, longer\n");
        row("fewer around it", more, {Choice::Typed, "head of newer times\n" + both.text + "foot, longer\n"}, tide,
            int(Likeness::Surroundings), both.text);
        const Hunk moreTurned{more.ancestor, more.commit, more.newBase};
        row("more around it and swapped", tide, both, moreTurned, int(Likeness::Surroundings),
            "head of newer times\n" + both.text + "foot, longer\n");
        const Hunk clash{"head\n" + tide.ancestor, "head, theirs\n" + tide.newBase, "head, mine\n" + tide.commit};
        row("what is around it clashes too", tide, both, clash, -1, "");
        const Hunk twice{tide.ancestor + tide.ancestor, tide.newBase + tide.ancestor + tide.newBase,
                         tide.commit + tide.commit};
        row("it is in there twice", tide, both, twice, -1, "");
        const Hunk rewritten{more.ancestor, more.newBase, more.commit};
        row("fewer, but what was typed is not in one piece", rewritten, {Choice::Typed, "all anew\n"}, tide, -1, "");
        row("another hunk", tide, both, {"x\n", "y\n", "z\n"}, -1, "");
        row("one side is another", tide, both, {tide.ancestor, tide.newBase, "    int tide = 3;\n    use(tide);\n"}, -1,
            "");
    }
    void knownAgain()
    {
        QFETCH(const Hunk, before);
        QFETCH(const HunkDecision, decision);
        QFETCH(const Hunk, met);
        QFETCH(const int, likeness);
        QFETCH(const QByteArray, text);
        const Memory memory({settled(before, decision)});
        const auto found = memory.recall(met.sides());
        QCOMPARE(found ? int(found->likeness) : -1, likeness);
        if (!found)
            return;
        QCOMPARE(QByteArray::fromStdString(hunkBytes(met.newBase, met.commit, found->decision)), text);
        QCOMPARE(found->before.branch, "topic/tides");
        QCOMPARE(found->before.when, now - 1000);
        QCOMPARE(found->before.name, textsOfHunk(before.ancestor, before.newBase, before.commit));
    }

    void theNewestOfTheSameCounts()
    {
        const Memory memory({settled(tide, {Choice::NewBase, {}}, now - 10), settled(tide, both, now - 5),
                             settled(tide, {Choice::YourCommit, {}}, now - 20)});
        QCOMPARE(memory.recall(tide.sides())->decision, both);
    }

    void whatWasSettledInTwoWaysIsNotOffered()
    {
        const Hunk other{"\t\tint tide = 1;\n\t\tuse(tide);\n", "\t\tlong tide = 1;\n\t\tuse(tide);\n",
                         "\t\tint tide = 2;\n\t\tuse(tide);\n"},
            met{"int tide = 1;\nuse(tide);\n", "long tide = 1;\nuse(tide);\n", "int tide = 2;\nuse(tide);\n"};
        const Memory agree({settled(tide, {Choice::NewBase, {}}), settled(other, {Choice::NewBase, {}})});
        QVERIFY(agree.recall(met.sides()));
        const Memory differ({settled(tide, {Choice::NewBase, {}}), settled(other, {Choice::YourCommit, {}})});
        QVERIFY(!differ.recall(met.sides()));
        const Hunk around{"line of words\n" + tide.ancestor, "line of words, newer\n" + tide.newBase,
                          "line of words\n" + tide.commit};
        const Hunk less{"    int tide = 1;\n", "    long tide = 1;\n", "    int tide = 2;\n"};
        QVERIFY(Memory({settled(less, {Choice::NewBase, {}})}).recall(around.sides()));
        QVERIFY(!Memory({settled(tide, {Choice::NewBase, {}}), settled(less, {Choice::YourCommit, {}})})
                     .recall(around.sides()));
    }

    void keptAndForgotten()
    {
        TempRepository repo;
        const Repository opened = repo.open();
        QCOMPARE(readMemory(opened, now).size(), 0u);
        const SettledBefore one = settled(tide, {Choice::Typed, std::string("no \0 text\xff\n", 11)});
        QVERIFY(remember(opened, one, now));
        auto found = readMemory(opened, now).recall(tide.sides());
        QVERIFY(found);
        QCOMPARE(found->decision, one.decision);
        QCOMPARE(found->before.subject, "Count the tides");
        QVERIFY(remember(opened, settled(tide, {Choice::NewBase, {}}), now)); // in its place
        QCOMPARE(readMemory(opened, now).recall(tide.sides())->decision.choice, Choice::NewBase);
        QVERIFY(remember(opened, settled({"q\n", "r\n", "s\n"}, {}), now)); // undecided
        QCOMPARE(readMemory(opened, now).size(), 1u);
        QVERIFY(forget(opened, one.name));
        QVERIFY(forget(opened, one.name));
        QVERIFY(!readMemory(opened, now).recall(tide.sides()));
    }

    void agesAndIsBounded()
    {
        TempRepository repo;
        const Repository opened = repo.open();
        QVERIFY(remember(opened, settled(tide, both, now), now));
        QVERIFY(readMemory(opened, now + rememberedFor - 1).recall(tide.sides()));
        QVERIFY(!readMemory(opened, now + rememberedFor + 1).recall(tide.sides()));
        // Whoever writes next removes what is too old and too much.
        const auto folder = opened.commonDir() / "espalier" / "remembered";
        const auto count = [&] { return std::size_t(std::distance(std::filesystem::directory_iterator(folder), {})); };
        for (std::size_t i = 0; i < mostRemembered + 20; ++i) {
            const std::string number = std::to_string(i);
            const SettledBefore one = settled({"a" + number, "b", "c"}, both, now);
            std::ofstream(folder / one.name.hex()) << formatSettledBefore(one);
        }
        QVERIFY(count() > mostRemembered);
        const Hunk last{"last\n", "of\n", "all\n"};
        const std::int64_t clock = std::time(nullptr); // files age by the clock of the disk
        QVERIFY(remember(opened, settled(last, both, clock), clock));
        QCOMPARE(count(), mostRemembered);
        QVERIFY(readMemory(opened, clock).recall(last.sides()));
        QVERIFY(remember(opened, settled(last, both, clock), clock + rememberedFor + 1));
        QCOMPARE(count(), 1u);
        // What is too large is known by its name alone.
        const Hunk large{std::string(largestRemembered, 'x'), "y\n", "z\n"};
        QVERIFY(remember(opened, settled(large, {Choice::NewBase, {}}, clock), clock));
        QVERIFY(readMemory(opened, clock).recall(large.sides()));
        QVERIFY(std::filesystem::file_size(folder / textsOfHunk(large.ancestor, "y\n", "z\n").hex()) < 1000);
    }

    // The form before this one: a decision and nothing else.
    void readsTheOlderForm()
    {
        TempRepository repo;
        const Repository opened = repo.open();
        const auto folder = opened.commonDir() / "espalier" / "remembered";
        QVERIFY(makeFolders(folder));
        std::ofstream(folder / textsOfHunk(tide.ancestor, tide.newBase, tide.commit).hex())
            << R"({"choice":"typed","text":"6d696e650a"})";
        const auto found = readMemory(opened, std::time(nullptr)).recall(tide.sides());
        QVERIFY(found);
        QCOMPARE(found->decision, (HunkDecision{Choice::Typed, "mine\n"}));
        QVERIFY(found->before.when > 0);
    }

    void damagedFilesAreLeftOut_data()
    {
        QTest::addColumn<QByteArray>("bytes");
        QByteArray whole = QByteArray::fromStdString(formatSettledBefore(settled(tide, both)));
        QTest::newRow("empty") << QByteArray();
        QTest::newRow("cut") << whole.left(whole.size() / 2);
        QTest::newRow("undecided") << QByteArray(R"({"choice":"undecided"})");
        QTest::newRow("a number for a text") << QByteArray(R"({"choice":"typed","text":5})");
        QTest::newRow("a list") << QByteArray("[1]");
        whole.replace(QByteArray::fromStdString("\"newBase\":\""), "\"newBase\":\"00");
        QTest::newRow("sides of another hunk") << whole;
    }
    void damagedFilesAreLeftOut()
    {
        QFETCH(const QByteArray, bytes);
        const Oid name = textsOfHunk(tide.ancestor, tide.newBase, tide.commit);
        QVERIFY(!parseSettledBefore(bytes.toStdString(), name));
        TempRepository repo;
        const Repository opened = repo.open();
        const auto folder = opened.commonDir() / "espalier" / "remembered";
        QVERIFY(makeFolders(folder));
        std::ofstream(folder / name.hex(), std::ios::binary) << bytes.toStdString();
        QVERIFY(!readMemory(opened, now).recall(tide.sides()));
        const SettledBefore good = settled(tide, both);
        QCOMPARE(*parseSettledBefore(formatSettledBefore(good), good.name), good);
    }
};

Q_DECLARE_METATYPE(Hunk)
Q_DECLARE_METATYPE(espalier::HunkDecision)

QTEST_GUILESS_MAIN(TestMemory)
#include "test_memory.moc"
