// SPDX-License-Identifier: MIT
//
// Merges of texts: the papers' examples, line ends, markers inside contents, and held regions.
#include "core/merge/text_merge.h"

#include "core/merge/line_diff.h"
#include "tests/support/random_history.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;

class TestTextMerge : public QObject {
    Q_OBJECT

    // Few different lines, some of them blank, with both kinds of line end, the last one perhaps without.
    static std::string randomText(test::SmallRandom& random)
    {
        static constexpr const char* some[] = {"\n", "a\n", "a\r\n", "ab\n", "b\n", "\r\n", "a longer line of text\n"};
        std::string text;
        for (int count = random.below(30); count > 0; --count)
            text += some[random.below(int(std::size(some)))];
        if (random.chance(30))
            text += random.chance(50) ? "a" : "b";
        return text;
    }

    static std::vector<std::string> split(const std::string& text)
    {
        std::vector<std::string> all;
        for (const char c : text) {
            if (all.empty() || all.back().ends_with('\n'))
                all.emplace_back();
            all.back() += c;
        }
        return all;
    }

    static std::string lines(std::string_view letters)
    {
        std::string text;
        for (const char letter : letters)
            text += std::string(1, letter) + "\n";
        return text;
    }

  private Q_SLOTS:
    // Khanna, Kunal and Pierce, "A Formal Investigation of Diff3" (2007), figure 1 (from memory): O = 1..6, A = 1 4 5 2 3 6,
    // B = 1 2 4 5 3 6. One conflict; the lines 4 5 of A before 2 are stable.
    void diff3Paper()
    {
        const std::string o = lines("123456"), a = lines("145236"), b = lines("124536");
        const TextMerge merge = mergeTexts(o, a, b);
        QVERIFY(!merge.clean());
        const auto segments = segmentsOf(merge, o, a, b);
        QCOMPARE(segments.size(), 2 * merge.hunks.size() + 1);
        // Each side's own text comes back when all hunks get that side and only that side changed the rest.
        std::string settled;
        for (const Segment& segment : segments)
            settled += segment.conflict ? segment.newBase : segment.text;
        QVERIFY(settled.starts_with("1\n"));
        QVERIFY(settled.ends_with("6\n"));
        QCOMPARE(pieceCount(merge), countLines(merge.bytes));
    }

    // Myers, "An O(ND) Difference Algorithm and Its Variations" (1986), figure 1 (from memory): ABCABBA and CBABAC have a common
    // subsequence of 4, an edit script of 5. Here: one side makes that change, the other none; the result is that side's.
    void myersPaper()
    {
        for (const auto algorithm : {DiffAlgorithm::Myers, DiffAlgorithm::Histogram}) {
            TextMergeOptions options;
            options.algorithm = algorithm;
            const std::string a = lines("ABCABBA"), b = lines("CBABAC");
            const TextMerge merge = mergeTexts(a, a, b, options);
            QVERIFY(merge.clean());
            QCOMPARE(merge.bytes, b);
            int changed = 0;
            for (const TextPiece& piece : merge.pieces)
                if (piece.origin == PieceOrigin::Commit)
                    changed += piece.ancestor.count + piece.commit.count;
            if (algorithm == DiffAlgorithm::Myers)
                QCOMPARE(changed, 5);
        }
    }

    void headerExample()
    {
        const TextMerge merge = mergeTexts("a\nb\n", "a\nB\n", "a\nc\n");
        QCOMPARE(merge.bytes, std::string("a\n<<<<<<< new base\nB\n=======\nc\n>>>>>>> your commit\n"));
        QCOMPARE(merge.hunks.size(), std::size_t(1));
        QVERIFY((merge.hunks[0] == TextHunk{{1, 1}, {1, 1}, {1, 1}, {1, 5}}));
    }

    void union_()
    {
        TextMergeOptions options;
        options.favour = TextFavour::Union;
        const TextMerge merge = mergeTexts("a\n", "a\nb\n", "a\nc\n", options);
        QVERIFY(merge.clean());
        QCOMPARE(merge.bytes, std::string("a\nb\nc\n"));
    }

    void lineEnds()
    {
        // Markers take the line ends of what surrounds them; a missing last line end is closed inside a hunk only.
        const TextMerge crLf = mergeTexts("a\r\nb\r\n", "a\r\nB\r\n", "a\r\nc\r\n");
        QVERIFY(crLf.bytes.contains("=======\r\n"));
        const TextMerge unended = mergeTexts("a\nb", "a\nB", "a\nc");
        QCOMPARE(unended.bytes, std::string("a\n<<<<<<< new base\nB\n=======\nc\n>>>>>>> your commit\n"));
        QCOMPARE(mergeTexts("a\nb\nc\nd", "A\nb\nc\nd", "a\nb\nc\nd").bytes, std::string("A\nb\nc\nd"));
    }

    void markersInside()
    {
        const std::string base = "x\n<<<<<<< old\n=======\n>>>>>>> old\ny\n";
        TextMergeOptions options;
        options.markerSize = 0;
        const TextMerge merge = mergeTexts(base, "X\n" + base.substr(2), "Z\n" + base.substr(2), options);
        QCOMPARE(merge.hunks.size(), std::size_t(1));
        QCOMPARE(merge.markerSize, 8);
        QVERIFY(merge.bytes.starts_with("<<<<<<<< new base\nX\n========\nZ\n"));
    }

    void binary()
    {
        QVERIFY(mergeTexts(std::string("a\0b", 3), "a", "b").binary);
        QVERIFY(!isBinary(std::string(8000, 'x') + '\0'));
        QVERIFY(isBinary(std::string(7999, 'x') + '\0'));
    }

    void heldRegions()
    {
        const std::string base = "1\n2\n3\n4\n5\n6\n7\n8\n";
        const std::string held = "1\n2\n<<<<<<< a\n3\n=======\nthree\n>>>>>>> b\n4\n5\n6\n7\n8\n";
        const std::vector<LineRange> regions{{2, 5}};
        const TextMerge far = mergeTexts(base, held, "0\n1\n2\n3\n4\n5\n6\n7\neight\n");
        QVERIFY(heldTouched(far, regions).empty());
        const auto moved = heldInResult(far, regions);
        QCOMPARE(moved.size(), std::size_t(1));
        QVERIFY(linesOf(far.bytes, moved[0]).starts_with("<<<<<<< a\n"));
        const TextMerge near = mergeTexts(base, held, "1\n2\ndrei\n4\n5\n6\n7\n8\n");
        QCOMPARE(heldTouched(near, regions).size(), std::size_t(1));
        QVERIFY(!hunksMeeting(near, regions[0]).empty());
    }

    // Ranges in any order, beyond the end too, against the text cut at every line end.
    void reader()
    {
        test::SmallRandom random(3);
        for (int round = 0; round < 300; ++round) {
            const std::string text = randomText(random);
            const std::vector<std::string> all = split(text);
            LineReader reader(text);
            int first = 0;
            for (int i = 0; i < 12; ++i) {
                first = random.chance(70) ? first + random.below(5) : random.below(int(all.size()) + 3);
                const LineRange range{first, random.below(6)};
                std::string expected;
                for (int line = range.first; line < std::min(range.end(), int(all.size())); ++line)
                    expected += all[std::size_t(line)];
                QCOMPARE(std::string(reader.read(range)), expected);
                first = random.chance(50) ? range.end() : first;
            }
        }
    }

    // A text numbered along another has the numbers that it has without, and equal numbers are equal lines.
    void numberedAlike()
    {
        test::SmallRandom random(4);
        for (int round = 0; round < 400; ++round) {
            const std::string first = randomText(random);
            std::string second;
            for (const std::string& line : split(first)) // most of the first, with gaps and strangers
                if (random.chance(85))
                    second += random.chance(10) ? line + randomText(random) : line;
            if (random.chance(20))
                second = randomText(random);
            LineTable along, alone;
            const Lines base = along.add(first), same = alone.add(first);
            const Lines quick = along.add(second, &base), slow = alone.add(second);
            QCOMPARE(base.ids, same.ids);
            QCOMPARE(quick.ids, slow.ids);
            QVERIFY(quick.text == slow.text);
            QCOMPARE(quick.count(), int(split(second).size()));
            for (int i = 0; i < base.count(); ++i)
                for (int j = 0; j < quick.count(); ++j)
                    QCOMPARE(base.ids[std::size_t(i)] == quick.ids[std::size_t(j)],
                             base.text[std::size_t(i)] == quick.text[std::size_t(j)]);
        }
    }

    // `git merge-file` (git 2.47) is the reference: with Myers as it is called plainly, and with histogram.
    void mergeFile_data()
    {
        QTest::addColumn<int>("seed");
        for (int seed = 1; seed <= 60; ++seed)
            QTest::addRow("seed %d", seed) << seed;
    }
    void mergeFile()
    {
        QFETCH(int, seed);
        espalier::test::SmallRandom random{std::uint64_t(seed)};
        const int alphabet = 2 + random.below(seed % 2 ? 6 : 400);
        std::vector<std::string> base;
        for (int length = random.below(seed % 3 ? 30 : 600); length > 0; --length)
            base.push_back(std::to_string(random.below(alphabet)) + "\n");
        const auto side = [&] {
            std::vector<std::string> changed = base;
            for (int edits = random.below(6) + 1; edits > 0; --edits) {
                const auto at = changed.begin() + random.below(int(changed.size()) + 1);
                if (random.chance(50) || at == changed.end())
                    changed.insert(at, std::to_string(random.below(alphabet)) + "\n");
                else
                    changed.erase(at);
            }
            return changed;
        };
        const auto joined = [](const std::vector<std::string>& parts) {
            std::string text;
            for (const std::string& part : parts)
                text += part;
            return text;
        };
        const std::string o = joined(base), a = joined(side()), b = joined(side());
        QTemporaryDir folder;
        for (const auto& [name, text] : {std::pair{"o", o}, std::pair{"a", a}, std::pair{"b", b}}) {
            QFile file(folder.filePath(name));
            QVERIFY(file.open(QIODevice::WriteOnly));
            file.write(text.data(), qint64(text.size()));
        }
        for (const auto algorithm : {DiffAlgorithm::Myers, DiffAlgorithm::Histogram}) {
            TextMergeOptions options;
            options.algorithm = algorithm;
            const QString name = algorithm == DiffAlgorithm::Myers ? "myers" : "histogram";
            const auto run = espalier::test::runProgram("git",
                                                        {"merge-file", "-p", "--diff-algorithm=" + name, "-L",
                                                         "new base", "-L", "base", "-L", "your commit", "a", "o", "b"},
                                                        folder.path());
            const TextMerge merge = mergeTexts(o, a, b, options);
            QCOMPARE(QByteArray::fromStdString(merge.bytes), run.out);
            QCOMPARE(int(merge.hunks.size()), run.exitCode);
            QCOMPARE(pieceCount(merge), countLines(merge.bytes));
        }
    }

  private:
    // Lines that the pieces cover, when they cover the result without a gap; else -1.
    static int pieceCount(const TextMerge& merge)
    {
        int line = 0;
        for (const TextPiece& piece : merge.pieces) {
            if (piece.result.first != line)
                return -1;
            line = piece.result.end();
        }
        return line;
    }
};

QTEST_GUILESS_MAIN(TestTextMerge)
#include "test_text_merge.moc"
