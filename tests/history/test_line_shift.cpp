// SPDX-License-Identifier: MIT
//
// The number by which most changes are told apart before they are compared: equal changes must have equal ones, wherever they
// stand and whatever their white space, or a commit that has landed would not be found.
#include "core/history/equivalence.h"
#include "core/history/line_shift.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <random>

using namespace espalier;
using namespace espalier::test;

namespace {

std::string lines(std::mt19937& random, int count, int words)
{
    std::string text;
    for (int i = 0; i < count; ++i)
        text += std::string(random() % 3, random() % 2 ? ' ' : '\t') + "w" + std::to_string(random() % words) + '\n';
    return text;
}

} // namespace

class TestLineShift : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void whereItStandsDoesNotMatter()
    {
        const std::string old = "a\nb\nc\n", now = "a\nB\nc\n", above = "x\ny\n", below = "z\n";
        QCOMPARE(lineShift(old, now), lineShift(above + old, above + now));
        QCOMPARE(lineShift(old, now), lineShift(old + below, now + below));
        QCOMPARE(lineShift("", now), lineShift(above, above + now));
        QVERIFY(lineShift(old, now) != 0);
    }

    void whiteSpaceDoesNotMatter()
    {
        QCOMPARE(lineShift("if (a)\n", "if (b)\n"), lineShift("\tif ( a )\r\n", "  if(b)\r\n"));
        QCOMPARE(lineShift("a", "b"), lineShift("a\n", "b\n")); // no line end at the end
        QCOMPARE(lineShift("a\n", " a\n"), 0u);
    }

    void whatChangesMatters()
    {
        QVERIFY(lineShift("a\n", "b\n") != lineShift("a\n", "c\n"));
        QVERIFY(lineShift("a\n", "b\n") != lineShift("b\n", "a\n"));
        QVERIFY(lineShift("", "a\n") != lineShift("", "a\na\n"));
        QVERIFY(lineShift("", "\n") != 0);
        QVERIFY(lineShift("abcdefg\n", "abcdefgh\n") != 0);
        QVERIFY(lineShift("abcdefgh\n", "abcdefg\nh\n") != 0);
        QVERIFY(lineShift("a\n", std::string("a\0\n", 3)) != 0);
    }

    // The trimming of what both have must not cut a line: the same as without it.
    void sumsOfPartsAgree()
    {
        std::mt19937 random(7);
        for (int i = 0; i < 2000; ++i) {
            const std::string before = lines(random, int(random() % 40), 3),
                              after = lines(random, int(random() % 40), 3);
            QCOMPARE(lineShift(before, after), lineShift("", after) - lineShift("", before));
            const std::string longer = lines(random, 200, 1000);
            QCOMPARE(lineShift(longer + before, longer + after), lineShift(before, after));
            QCOMPARE(lineShift(before + longer, after + longer), lineShift(before, after));
        }
    }

    // What has one patch id has one shift.
    void noEqualChangeIsPassedOver()
    {
        TempRepository repo;
        std::mt19937 random(11);
        struct Made {
            std::string before, after;
            Oid id;
        };
        std::vector<Made> made;
        const Repository opened = repo.open();
        ObjectStore store(opened);
        const auto changeOf = [&](const std::string& before, const std::string& after) {
            const auto oldTree = repo.commitFiles({{"f", before}, {"k", "k\n"}}, "Old", {}, "old");
            const auto newTree = repo.commitFiles({{"f", after}, {"k", "k\n"}}, "New", {oldTree}, "new");
            EquivalenceCache cache;
            return changeIdOf(store, *Oid::parse(newTree), cache);
        };
        int equal = 0;
        for (int i = 0; i < 60; ++i) {
            const std::string old = lines(random, 8, 50), now = lines(random, 2, 50);
            const std::string context = lines(random, 4, 50), spaced = std::string("  ") + now;
            for (const auto& [before, after] :
                 {std::pair(context + old + context, context + now + context),
                  std::pair("n0\n" + context + old + context, "n0\n" + context + now + context),
                  std::pair(context + old + context, context + spaced + context)}) {
                const auto id = changeOf(before, after);
                QVERIFY(id && *id);
                for (const Made& other : made)
                    if (other.id == **id) {
                        QCOMPARE(lineShift(before, after), lineShift(other.before, other.after));
                        ++equal;
                    }
                made.push_back({before, after, **id});
            }
        }
        QVERIFY(equal >= 60);
    }
};

QTEST_GUILESS_MAIN(TestLineShift)
#include "test_line_shift.moc"
