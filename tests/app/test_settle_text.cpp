// SPDX-License-Identifier: MIT
// What the settle page's editor stands on: bytes to lines and back, equal lines, and the rows of a conflict.
#include "app/settle/hunk_model.h"
#include "app/settle/text_codec.h"
#include "core/merge/line_match.h"

#include <QtTest>

#include <random>

using namespace espalier;

namespace {

QStringList list(const char* words) { return QString::fromLatin1(words).split(QLatin1Char(' '), Qt::SkipEmptyParts); }

ConflictHunk hunk(LineRange ancestor, LineRange newBase, LineRange commit, std::string a, std::string n, std::string c)
{
    return {ancestor, newBase, commit, std::move(a), std::move(n), std::move(c)};
}

// Two hunks; the new base also added a line above them that merges by itself.
ConflictText sampleText()
{
    ConflictText text;
    text.path = "core/height.cpp";
    text.ancestor = "one\ntwo\nthree\nfour\nfive\n";
    text.newBase = "zero\none\nTWO\nthree\nFOUR\nFOUR again\nfive\n";
    text.commit = "one\n2\nthree\nfive\n";
    text.hunks = {hunk({1, 1}, {2, 1}, {1, 1}, "two\n", "TWO\n", "2\n"),
                  hunk({3, 1}, {4, 2}, {3, 0}, "four\n", "FOUR\nFOUR again\n", "")};
    text.between = {"zero\none\n", "three\n", "five\n"};
    return text;
}

std::optional<StretchEdit> editOf(const HunkModel& model, std::size_t stretch)
{
    return std::get<SettledStretch>(model.settlement().pieces[2 * stretch]).edit;
}

std::string list8(const char* words)
{
    return QString::fromLatin1(words).replace(u' ', u'\n').append(u'\n').toStdString();
}

} // namespace

class TestSettleText : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void bytesComeBack_data()
    {
        QTest::addColumn<QByteArray>("bytes");
        QTest::newRow("empty") << QByteArray();
        QTest::newRow("plain") << QByteArray("a\nb\n");
        QTest::newRow("no final newline") << QByteArray("a\nb");
        QTest::newRow("crlf") << QByteArray("a\r\nb\r\n");
        QTest::newRow("crlf, no final newline") << QByteArray("a\r\nb");
        QTest::newRow("mixed ends") << QByteArray("a\r\nb\nc\r\n\r");
        QTest::newRow("carriage returns") << QByteArray("a\rb\r\r\n");
        QTest::newRow("latin-1") << QByteArray("caf\xe9\nna\xefve\xa0\x85\xff\n");
        QTest::newRow("utf-8") << QByteArray("caf\xc3\xa9 \xf0\x9f\x8c\x8a\xc2\xa0\n");
        QTest::newRow("nul and controls") << QByteArray("a\0b\x1b[31m\v\f\n", 11);
        QTest::newRow("separators") << QByteArray("a\xe2\x80\xa8"
                                                  "b\xe2\x80\xa9"
                                                  "c\xef\xb7\x90\xef\xbf\xbc\n");
        QTest::newRow("direction overrides") << QByteArray("x\xe2\x80\xae"
                                                           "y\xe2\x81\xa6z\n");
        QTest::newRow("byte order mark") << QByteArray("\xef\xbb\xbfx\n");
        QTest::newRow("control pictures") << QByteArray("\xe2\x90\x8d\xe2\x90\x80 and \r here\n");
        QTest::newRow("private use") << QByteArray("\xef\x80\xa8\xef\x80\xad\xee\x80\x80\n");
        QTest::newRow("utf-8 with a byte that is none") << QByteArray("caf\xc3\xa9 \xff\xc3 x\n");
        QTest::newRow("surrogates in utf-8") << QByteArray("caf\xc3\xa9 \xed\xb0\x80\xed\xa0\x80\n");
        QTest::newRow("long line") << QByteArray(10000, 'x');
    }
    void bytesComeBack()
    {
        QFETCH(QByteArray, bytes);
        const std::string text = bytes.toStdString();
        const TextCodec codec = TextCodec::forTexts({text});
        const TextLines lines = codec.split(text);
        QCOMPARE(QByteArray::fromStdString(codec.join(lines.lines, lines.endsWithNewline)), bytes);
        for (const QString& line : lines.lines)
            for (QChar c : line)
                QVERIFY2(c.unicode() >= 0x20 || c == QLatin1Char('\t'), "a character the editor would obey");
    }
    void anyBytesComeBack()
    {
        std::mt19937 random(20261125);
        for (int round = 0; round < 300; ++round) {
            std::string bytes;
            for (int i = 0; i < 200; ++i)
                bytes += round % 2 ? char(random() % 256) : "ab\n\r\xc3\xa9\xe2\x80\xae\xef\xbf\xbc\xed"[random() % 13];
            const TextCodec codec = TextCodec::forTexts({bytes});
            const TextLines lines = codec.split(bytes);
            QCOMPARE(codec.join(lines.lines, lines.endsWithNewline), bytes);
            for (const QString& line : lines.lines)
                QVERIFY(!line.contains(QChar(0x2028)) && !line.contains(QChar(0x2029)) &&
                        !line.contains(QLatin1Char('\r')));
        }
    }
    // A file that holds the signs that stand for control characters elsewhere is UTF-8 as any other.
    void signsAreThemselves()
    {
        const std::string text = "\xe2\x90\x80 \xe2\x90\x8d \xef\x80\xad caf\xc3\xa9\n";
        const TextCodec codec = TextCodec::forTexts({text});
        QVERIFY(codec.isUtf8());
        QCOMPARE(codec.split(text).lines.front(), QString::fromUtf8(text).chopped(1));
        // One bad byte among UTF-8 leaves the rest readable; a file of 8-bit text is read as such.
        const TextCodec mixed = TextCodec::forTexts({"caf\xc3\xa9\n\xff\n"});
        QVERIFY(mixed.isUtf8());
        QCOMPARE(mixed.decodeLine("caf\xc3\xa9"), QStringLiteral("café"));
        QCOMPARE(TextCodec::symbolOf(mixed.decodeLine("\xff").front()), QStringLiteral("FF"));
        QVERIFY(!TextCodec::forTexts({"caf\xe9\n"}).isUtf8());
    }
    // What is typed is what is written: every code point there is, as UTF-8 and nothing else (RFC 3629).
    void everyCodePointIsWrittenAsTyped()
    {
        const TextCodec codec = TextCodec::forTexts({});
        for (char32_t point = 0; point <= 0x10FFFF; ++point) {
            if (point == U'\n' || (point >= 0xD800 && point <= 0xDFFF))
                continue;
            const QString typed = point < 0x10000 ? QString(QChar(char16_t(point))) : QString::fromUcs4(&point, 1);
            std::string wanted;
            if (point < 0x80)
                wanted = {char(point)};
            else if (point < 0x800)
                wanted = {char(0xC0 | point >> 6), char(0x80 | (point & 63))};
            else if (point < 0x10000)
                wanted = {char(0xE0 | point >> 12), char(0x80 | (point >> 6 & 63)), char(0x80 | (point & 63))};
            else
                wanted = {char(0xF0 | point >> 18), char(0x80 | (point >> 12 & 63)), char(0x80 | (point >> 6 & 63)),
                          char(0x80 | (point & 63))};
            const QString shown = TextCodec::shown(typed);
            if (codec.encodeLine(shown) != wanted || codec.decodeLine(wanted) != shown ||
                TextCodec::real(shown) != typed)
                QFAIL(qPrintable(QStringLiteral("U+%1").arg(uint(point), 4, 16)));
        }
    }
    void hostileCharactersAreVisible()
    {
        const TextCodec codec = TextCodec::forTexts({"a\xe2\x80\xae"});
        QVERIFY(!codec.decodeLine("a\xe2\x80\xae").contains(QChar(0x202E)));
    }

    void equalLines()
    {
        QCOMPARE(matchLines("a\nb\nc\n", "a\nx\nc\n"), (std::vector<int>{0, -1, 2}));
        QCOMPARE(matchLines("", "a\n"), std::vector<int>{});
        QCOMPARE(matchLines("a\nb\na\nc\n", "b\na\n"), (std::vector<int>{-1, 0, 1, -1}));
    }
    void equalLinesRise()
    {
        std::mt19937 random(7);
        for (int round = 0; round < 200; ++round) {
            QStringList a, b;
            for (int i = 0; i < 30; ++i) {
                a.append(QString::number(random() % 12));
                b.append(QString::number(random() % 12));
            }
            const std::string first = a.join(u'\n').toStdString(), second = b.join(u'\n').toStdString();
            int before = -1;
            const std::vector<int> at = matchLines(first + "\n", second + "\n");
            for (int i = 0; i < 30; ++i) {
                if (at[std::size_t(i)] < 0)
                    continue;
                QVERIFY(at[std::size_t(i)] > before);
                before = at[std::size_t(i)];
                QCOMPARE(a.at(i), b.at(before));
            }
            // The change, carried out, gives b.
            QStringList made;
            for (const ChangedLine& line : changeOf(first, second))
                if (line.kind != ChangedLine::Removed)
                    made.append(b.at(line.line));
            QCOMPARE(made, b);
        }
    }
    // Myers (1986), figure 1: ABCABBA and CBABAC have a longest common subsequence of four.
    void equalLinesOfThePaper()
    {
        const std::vector<int> at = matchLines(list8("A B C A B B A"), list8("C B A B A C"));
        QCOMPARE(std::ranges::count_if(at, [](int line) { return line >= 0; }), 4);
    }

    void rowsOfAConflict()
    {
        const HunkModel model(sampleText(), {});
        QCOMPARE(model.hunkCount(), 2);
        QCOMPARE(model.undecided(), 2);
        const HunkGroup& second = model.group(model.groupOfHunk(1));
        QCOMPARE(second.newBaseCount, 2);
        QCOMPARE(second.commitCount, 0);
        int newBase = 0, commit = 0;
        for (int i = 0; i < model.groupCount(); ++i) {
            QCOMPARE(model.group(i).newBaseFirst, newBase);
            QCOMPARE(model.group(i).commitFirst, commit);
            newBase += model.group(i).newBaseCount;
            commit += model.group(i).commitCount;
        }
        QCOMPARE(newBase, int(model.newBaseLines().size()));
        QCOMPARE(commit, int(model.commitLines().size()));
    }
    void decisionsGiveTheText()
    {
        const ConflictText text = sampleText();
        HunkModel model(text, {});
        model.decide(0, Choice::YourCommit);
        model.decide(1, Choice::NewBase);
        const FileSettlement settlement = model.settlement();
        QCOMPARE(settledText(text, settlement), std::string("zero\none\n2\nthree\nFOUR\nFOUR again\nfive\n"));
        QCOMPARE(model.settled(model.groupOfHunk(0)), list("2"));
        model.decide(0, Choice::Undecided);
        QCOMPARE(model.undecided(), 1);
        QVERIFY(model.settled(model.groupOfHunk(0)).isEmpty());
    }
    void typingInAHunk()
    {
        HunkModel model(sampleText(), {});
        model.setSettled(model.groupOfHunk(1), list("4 5"));
        QCOMPARE(model.decision(1).choice, Choice::Typed);
        QCOMPARE(model.decision(1).text, std::string("4\n5\n"));
        QVERIFY(!editOf(model, 0) && !editOf(model, 1) && !editOf(model, 2));
    }
    void typingOutsideTheHunks()
    {
        const ConflictText text = sampleText();
        HunkModel model(text, {});
        model.decide(0, Choice::NewBase);
        const int last = model.groupCount() - 1;
        model.setSettled(last, list("five six"));
        const FileSettlement settlement = model.settlement();
        QCOMPARE(editOf(model, 2), std::optional(StretchEdit{"five\n", "five\nsix\n"}));
        // It decides nothing: the undecided hunk stands for what the new base has.
        QVERIFY(!settlement.decided());
        QCOMPARE(settlement.undecided(), std::size_t(1));
        QCOMPARE(settledText(text, settlement), std::string("zero\none\nTWO\nthree\nFOUR\nFOUR again\nfive\nsix\n"));
        const HunkModel again(text, settlement);
        QCOMPARE(again.settled(last), list("five six"));
        QCOMPARE(again.decision(0).choice, Choice::NewBase);
        QCOMPARE(again.decision(1).choice, Choice::Undecided);
        QVERIFY(again.settled(again.groupOfHunk(1)).isEmpty());
        QCOMPARE(again.settlement(), settlement);
        model.setSettled(last, list("five"));
        QVERIFY(!editOf(model, 2));
    }
    void noFinalNewline()
    {
        ConflictText text;
        text.ancestor = "a\nb";
        text.newBase = "a\nn";
        text.commit = "a\nc\n";
        text.hunks = {hunk({1, 1}, {1, 1}, {1, 1}, "b", "n", "c\n")};
        text.between = {"a\n", ""};
        HunkModel model(text, {});
        model.decide(0, Choice::NewBase);
        model.setSettled(model.groupOfHunk(0), list("typed"));
        QCOMPARE(model.decision(0).text, std::string("typed"));
        model.decide(0, Choice::YourCommit);
        model.setSettled(model.groupOfHunk(0), list("typed"));
        QCOMPARE(model.decision(0).text, std::string("typed\n"));
    }
    void crlfIsKept()
    {
        ConflictText text;
        text.ancestor = "a\r\nb\r\nz\r\n";
        text.newBase = "a\r\nn\r\nz\r\n";
        text.commit = "a\r\nc\r\nz\r\n";
        text.hunks = {hunk({1, 1}, {1, 1}, {1, 1}, "b\r\n", "n\r\n", "c\r\n")};
        text.between = {"a\r\n", "z\r\n"};
        HunkModel model(text, {});
        model.setSettled(model.groupOfHunk(0), list("typed"));
        QCOMPARE(model.decision(0).text, std::string("typed\r\n"));
        model.setSettled(0, list("A"));
        QCOMPARE(settledText(text, model.settlement()), std::string("A\r\ntyped\r\nz\r\n"));
    }
};

QTEST_GUILESS_MAIN(TestSettleText)
#include "test_settle_text.moc"
