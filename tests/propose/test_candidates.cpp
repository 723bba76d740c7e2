// SPDX-License-Identifier: MIT
//
// Each kind of candidate on its own: what it makes of a hunk, and where it keeps still. What makes hunks alike, and where the text of
// a settled file stands.
#include "core/propose/candidates.h"
#include "core/propose/file_hunks.h"
#include "core/propose/places.h"
#include "core/propose/words.h"

#include <QtTest>

using namespace espalier;

namespace {

using Text = std::optional<std::string>;

} // namespace

class TestCandidates : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void bothSides()
    {
        QCOMPARE(bothInOrder("a one\n", "b two\n"), Text("a one\nb two\n"));
        // A line that both have stands once; short ones (a bracket, an empty line) may stand twice.
        QCOMPARE(bothInOrder("a one\nshared\n}\n", "shared\nb two\n}\n"), Text("a one\nshared\n}\nb two\n}\n"));
        QCOMPARE(bothInOrder("a one", "b two"), Text("a one\nb two"));
        QCOMPARE(bothInOrder("", "b two\n"), Text());
    }

    void words()
    {
        // Two unchanged words between the changes, blanks included.
        QCOMPARE(wordMerge({"call(one, two);\n", "call(uno, two);\n", "call(one, due);\n"}), Text("call(uno, due);\n"));
        QCOMPARE(wordMerge({"a b\n", "x b\n", "a y\n"}), Text());
        QCOMPARE(wordMerge({"one two three\n", "uno two tre\n", "uno two three four\n"}), Text());
        QCOMPARE(wordMerge({"one two three four\n", "uno two three four\n", "uno two three quattro\n"}), Text());
        // The same change by both is one.
        QCOMPARE(wordMerge({"one two three four five\n", "uno two three four cinque\n", "uno two tre four five\n"}),
                 Text("uno two tre four cinque\n"));
        QCOMPARE(wordMerge({"", "x\n", "y\n"}), Text());
    }

    void wordsKeepBrackets()
    {
        // Each side moves one of two brackets: together there would be one too many.
        QCOMPARE(wordMerge({"f(a, b)\n", "(f(a, b)\n", "f(a, b))\n"}), Text("(f(a, b))\n"));
        QCOMPARE(wordMerge({"if (a) { b; c; } d;\n", "if (a) { b; c; } } d;\n", "if (a) { { b; c; } d;\n"}),
                 Text("if (a) { { b; c; } } d;\n"));
        QCOMPARE(wordMerge({"x a b c d e y\n", "x ( a b c d e y\n", "x a b c d e ( y\n"}), Text());
    }

    void lines()
    {
        QCOMPARE(lineMerge({"a\nb\nc\n", "a\nc\nd\n", "a\nb\nx\nc\n"}), Text("a\nx\nc\nd\n"));
        QCOMPARE(lineMerge({"a\n", "a\nb\n", "a\n"}), Text()); // the same as one side
        QCOMPARE(lineMerge({"a\n", "", "b\n"}), Text());
    }

    void sorted()
    {
        QCOMPARE(sortedMerge({"import b\n", "import a\nimport b\n", "import b\nimport c\n"}),
                 Text("import a\nimport b\nimport c\n"));
        QCOMPARE(sortedMerge({"import b\nimport d\n", "import a\nimport b\n", "import b\nimport c\nimport d\n"}),
                 Text("import a\nimport b\nimport c\n"));
        QCOMPARE(sortedMerge({"import b\n", "import c\nimport b\n", "import b\nimport d\n"}), Text()); // not in order
    }

    void higher()
    {
        QCOMPARE(higherNumbers({"v 1.2\n", "v 1.10\n", "v 1.9\n"}), Text("v 1.10\n"));
        QCOMPARE(higherNumbers({"v 1.2\n", "v 2.0\n", "v 1.9\n"}), Text("v 2.0\n"));
        // Each run of numbers on its own.
        QCOMPARE(higherNumbers({"a 1 b 1\n", "a 3 b 1\n", "a 2 b 5\n"}), Text("a 3 b 5\n"));
        QCOMPARE(higherNumbers({"v 1\n", "v 2\n", "w 3\n"}), Text());
        QCOMPARE(higherNumbers({"v 1\n", "v 2\n", "v 2\n"}), Text());
    }

    void honoured()
    {
        const HunkTexts hunk{"one two\n", "one two three four\n", "two\n"};
        const HonouredChanges changes(hunk);
        const Honoured ofNewBase = changes.of(hunk.newBase), ofCommit = changes.of(hunk.commit),
                       half = changes.of("two three\n");
        QCOMPARE(ofNewBase.putInByNewBase, 100);
        QCOMPARE(ofNewBase.takenOutByCommit, 0);
        QCOMPARE(ofNewBase.putInByCommit, -1);     // it put nothing in
        QCOMPARE(ofNewBase.takenOutByNewBase, -1); // and this took nothing out
        QCOMPARE(ofCommit.putInByNewBase, 0);
        QCOMPARE(ofCommit.takenOutByCommit, 100);
        QCOMPARE(half.putInByNewBase, 50);
    }

    void alike()
    {
        const auto facts = [](const HunkTexts& hunk) { return factsOf(hunk, candidatesFor(hunk)); };
        const HunkFacts one = facts({"v 1\n", "v 2\n", "v 3\n"}), numbers = facts({"v 11\n", "v 12\n", "v 13\n"}),
                        blanks = facts({"v  1\n", "v 2\n", "v\t3\n"}), other = facts({"v 1\n", "", "v 3\n"});
        QCOMPARE(numbers.masked, one.masked);
        QVERIFY(numbers.exact != one.exact);
        QCOMPARE(blanks.exact, one.exact);
        QCOMPARE(numbers.edits, one.edits);
        QVERIFY(other.edits != one.edits);
        QVERIFY(other.masked != one.masked);
        QCOMPARE(one.texts.size(), candidatesFor({"v 1\n", "v 2\n", "v 3\n"}).size());
    }

    void sameOnEveryMachine()
    {
        // FNV-1a of the empty text and of "a", from its description (Fowler, Noll and Vo).
        QCOMPARE(sumOf(""), 0xcbf29ce484222325u);
        QCOMPARE(sumOf("a"), 0xaf63dc4c8601ec8cu);
    }

    void places()
    {
        const std::string_view between[]{"1\n2\n3\n", "5\n6\n7\n", "9\n10\n11\n"};
        const auto found = settledPlaces(between, "1\n2\n3\nfour\n5\n6\n7\neight\nand more\n9\n10\n11\n");
        QCOMPARE(found.size(), 2u);
        QCOMPARE(found[0], std::optional(LineRange{3, 1}));
        QCOMPARE(found[1], std::optional(LineRange{7, 2}));
    }

    void placesInDoubt()
    {
        const std::string_view between[]{"1\n2\n3\n", "5\n6\n7\n"};
        QVERIFY(!settledPlaces(between, "1\n2\n3\n1\n2\n3\nx\n5\n6\n7\n")[0]); // twice
        QVERIFY(!settledPlaces(between, "1\n2\nx\n5\n6\n7\n")[0]);             // gone
        const std::string_view ends[]{"", ""};
        QCOMPARE(settledPlaces(ends, "a\nb\n")[0], std::optional(LineRange{0, 2}));
        const std::string_view touching[]{"1\n2\n3\n", "", "5\n6\n7\n"};
        const auto apart = settledPlaces(touching, "1\n2\n3\nx\n5\n6\n7\n");
        QVERIFY(!apart[0] && !apart[1]); // nothing stands between the hunks
    }

    void settledFile()
    {
        const std::string head = "1\n2\n3\n", tail = "5\n6\n7\n";
        FileHunks file = fileHunks("a.txt", head + "x\n" + tail, head + "y\n" + tail, head + "z\n" + tail);
        QCOMPARE(file.hunks.size(), 1u);
        QCOMPARE(file.hunks[0].newBase, (LineRange{3, 1}));
        noteSettled(file, head + "<<<<<<< a\ny\n=======\nz\n>>>>>>> b\n" + tail);
        QCOMPARE(file.hunks[0].facts.settled, 0u); // markers settle nothing
        noteSettled(file, head + "z  \n\n" + tail);
        QCOMPARE(file.hunks[0].facts.settled, file.hunks[0].facts.texts[1].sum); // white space at ends aside
    }
};

QTEST_GUILESS_MAIN(TestCandidates)
#include "test_candidates.moc"
