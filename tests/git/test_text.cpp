// SPDX-License-Identifier: MIT
#include "core/git/error.h"
#include "core/git/text.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace std::string_literals;

class TestText : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void displayText_data();
    void displayText();
    void displayTextIsBounded();
    void escapePath_data();
    void escapePath();
    void utf8_data();
    void utf8();
    void subject_data();
    void subject();
    void counted();
    void errorIsOneLine();
};

void TestText::displayText_data()
{
    QTest::addColumn<QByteArray>("bytes");
    QTest::addColumn<QByteArray>("shown");
    QTest::newRow("plain") << QByteArray("a topic/x") << QByteArray("a topic/x");
    QTest::newRow("empty") << QByteArray() << QByteArray();
    QTest::newRow("letters beyond ASCII stay") << QByteArray("größe 木 🌳") << QByteArray("größe 木 🌳");
    QTest::newRow("terminal escape") << QByteArray("\x1b[31mred") << QByteArray("\\x1B[31mred");
    QTest::newRow("line ends") << QByteArray("a\r\nb") << QByteArray("a\\x0D\\x0Ab");
    QTest::newRow("tab becomes a space") << QByteArray("a\tb") << QByteArray("a b");
    QTest::newRow("NUL") << QByteArray("a\0b", 3) << QByteArray("a\\x00b");
    QTest::newRow("DEL and C1") << QByteArray("\x7f\xc2\x9b") << QByteArray("\\x7F\\x9B");
    // Boucher and Anderson, Trojan Source (2021): the controls of UAX #9.
    QTest::newRow("override") << QByteArray("to\u202Epic") << QByteArray("to\\u202Epic");
    QTest::newRow("isolates") << QByteArray("\u2066a\u2069") << QByteArray("\\u2066a\\u2069");
    QTest::newRow("marks") << QByteArray("\u200Ea\u061C") << QByteArray("\\u200Ea\\u061C");
    QTest::newRow("invisible") << QByteArray("a\u200Bb\uFEFF") << QByteArray("a\\u200Bb\\uFEFF");
    QTest::newRow("tag characters") << QByteArray("\U000E0041") << QByteArray("\\uE0041");
    QTest::newRow("not UTF-8") << QByteArray("caf\xe9.txt") << QByteArray("caf\\xE9.txt");
    QTest::newRow("markup stays text") << QByteArray("<b>%s</b>&amp;") << QByteArray("<b>%s</b>&amp;");
}

void TestText::displayText()
{
    QFETCH(QByteArray, bytes);
    QFETCH(QByteArray, shown);
    QCOMPARE(QByteArray::fromStdString(espalier::displayText(bytes.toStdString())), shown);
}

void TestText::displayTextIsBounded()
{
    const std::string ellipsis = "…";
    for (const std::string& unit : {"x"s, "ö"s, "木"s, "🌳"s, "\x1b"s, "\xff"s}) {
        std::string many;
        for (int i = 0; i < 200; ++i)
            many += unit;
        for (std::size_t limit : {0, 1, 2, 3, 4, 5, 10, 11, 12, 100, 101, 102, 103}) {
            const std::string shown = espalier::displayText(many, limit);
            QVERIFY2(shown.size() <= limit, qPrintable(QString::number(limit)));
            QVERIFY(espalier::isUtf8(shown));
            QCOMPARE(shown.ends_with(ellipsis), limit >= ellipsis.size());
        }
    }
    QCOMPARE(espalier::displayText("just fits", 9), "just fits");
}

void TestText::escapePath_data()
{
    QTest::addColumn<QByteArray>("bytes");
    QTest::addColumn<QByteArray>("escaped");
    QTest::newRow("plain") << QByteArray("src/a b.txt") << QByteArray("src/a b.txt");
    QTest::newRow("UTF-8 stays") << QByteArray("größe/木") << QByteArray("größe/木");
    QTest::newRow("Latin-1") << QByteArray("caf\xe9.txt") << QByteArray("caf\\xe9.txt");
    QTest::newRow("cut sequence") << QByteArray("a\xe2\x82") << QByteArray("a\\xe2\\x82");
    QTest::newRow("controls are valid UTF-8") << QByteArray("a\nb") << QByteArray("a\nb");
}

void TestText::escapePath()
{
    QFETCH(QByteArray, bytes);
    QFETCH(QByteArray, escaped);
    QCOMPARE(QByteArray::fromStdString(espalier::escapePath(bytes.toStdString())), escaped);
}

// The boundary cases of RFC 3629, section 4.
void TestText::utf8_data()
{
    QTest::addColumn<QByteArray>("bytes");
    QTest::addColumn<bool>("valid");
    QTest::newRow("empty") << QByteArray() << true;
    QTest::newRow("U+07FF") << QByteArray("\xdf\xbf") << true;
    QTest::newRow("U+0800") << QByteArray("\xe0\xa0\x80") << true;
    QTest::newRow("U+FFFF") << QByteArray("\xef\xbf\xbf") << true;
    QTest::newRow("U+10000") << QByteArray("\xf0\x90\x80\x80") << true;
    QTest::newRow("U+10FFFF") << QByteArray("\xf4\x8f\xbf\xbf") << true;
    QTest::newRow("above U+10FFFF") << QByteArray("\xf4\x90\x80\x80") << false;
    QTest::newRow("overlong slash") << QByteArray("\xc0\xaf") << false;
    QTest::newRow("overlong of three") << QByteArray("\xe0\x9f\xbf") << false;
    QTest::newRow("overlong of four") << QByteArray("\xf0\x8f\xbf\xbf") << false;
    QTest::newRow("surrogate") << QByteArray("\xed\xa0\x80") << false;
    QTest::newRow("lone tail") << QByteArray("\x80") << false;
    QTest::newRow("cut") << QByteArray("a\xf0\x9f\x8c") << false;
}

void TestText::utf8()
{
    QFETCH(QByteArray, bytes);
    QFETCH(bool, valid);
    QCOMPARE(espalier::isUtf8(bytes.toStdString()), valid);
}

void TestText::subject_data()
{
    QTest::addColumn<QByteArray>("message");
    QTest::newRow("one line") << QByteArray("Subject\n");
    QTest::newRow("no line end") << QByteArray("Subject");
    QTest::newRow("with body") << QByteArray("Subject\n\nBody\n");
    QTest::newRow("folded") << QByteArray("A long\nsubject\n\nBody");
    QTest::newRow("leading blank lines") << QByteArray("\n  \nSubject\n\nBody");
    QTest::newRow("trailing blanks") << QByteArray("Subject \t\nmore  \n\nBody");
    QTest::newRow("carriage returns") << QByteArray("Subject\r\n\r\nBody\r\n");
    QTest::newRow("empty") << QByteArray();
    QTest::newRow("blank") << QByteArray(" \n\n");
}

// Reference: git's own subject, `git log --format=%s`.
void TestText::subject()
{
    QFETCH(QByteArray, message);
    static test::TempRepository repo;
    static const std::string tree = repo.git({"mktree"});
    const std::string id = repo.writeRaw(
        "commit", "tree " + tree + "\nauthor A <a@b> 0 +0000\ncommitter A <a@b> 0 +0000\n\n" + message.toStdString());
    QCOMPARE(subjectOf(message.toStdString()), repo.git({"log", "-1", "--format=%s", QString::fromStdString(id)}));
}

void TestText::counted()
{
    QCOMPARE(espalier::counted(0, "commit", "commits"), "0 commits");
    QCOMPARE(espalier::counted(1, "commit", "commits"), "1 commit");
    QCOMPARE(espalier::counted(2, "commit", "commits"), "2 commits");
}

void TestText::errorIsOneLine()
{
    const Error whole{ErrorKind::Refused, "The branch cannot be moved", "topic/\n\u202Ex", "Choose another"};
    QCOMPARE(whole.line(), "The branch cannot be moved (topic/\\x0A\\u202Ex). Choose another.");
    QCOMPARE((Error{ErrorKind::Broken, "It failed", {}, {}}.line()), "It failed.");
}

QTEST_GUILESS_MAIN(TestText)
#include "test_text.moc"
