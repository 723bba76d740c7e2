// SPDX-License-Identifier: MIT
//
// What a side did besides a hunk that explains it, and which words of a line it changed.
#include "core/conflicts/commit_change.h"
#include "core/conflicts/elsewhere.h"
#include "core/merge/changed_words.h"
#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

const std::string head = "int depth(int tide)\n{\n";
const std::string body =
    "    int lowest = measure(tide);\n    int highest = lowest + range(tide);\n    return highest;\n";
const std::string rest = "}\n\nint other()\n{\n    return 17;\n}\n\nint last()\n{\n    return depth(3);\n}\n";

} // namespace

class TestElsewhere : public QObject {
    Q_OBJECT

    static QStringList notesOf(const Files& base, const Files& newBase, const Files& commit)
    {
        TempRepository repo;
        const std::string root = repo.commitFiles(base, "Base", {}, "main");
        repo.commitFiles(commit, "Mine", {root}, "topic");
        const std::string main = repo.commitFiles(newBase, "Upstream", {root}, "main");
        const Repository opened = repo.open();
        const DryRun run = runOf(opened, planOf(opened, "topic", main));
        const auto text = conflictText(opened, run, 0, 0);
        if (!text || text->hunks.empty())
            qFatal("no hunk");
        const auto notes = elsewhere(opened, run, 0, *text);
        if (!notes)
            qFatal("%s", notes.error().line().c_str());
        QStringList all;
        for (const std::string& note : notes->at(0))
            all << QString::fromStdString(note);
        return all;
    }
    static std::string with(std::string text, const std::string& from, const std::string& to)
    {
        for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size()))
            text.replace(at, from.size(), to);
        return text;
    }

  private Q_SLOTS:
    void moved()
    {
        const std::string mine = with(body, "range(tide)", "range(tide) * 2");
        QCOMPARE(notesOf({{"f.c", head + body + rest}}, {{"f.c", head + "    return 0;\n" + rest + "\n" + body}},
                         {{"f.c", head + mine + rest}}),
                 QStringList{"The new base moves these lines to line 16"});
        QCOMPARE(notesOf({{"f.c", head + body + rest}, {"g.c", "int g;\n"}},
                         {{"f.c", head + "    return 0;\n" + rest}, {"g.c", "int g;\n" + with(body, "    ", "\t")}},
                         {{"f.c", head + mine + rest}}),
                 QStringList{"The new base moves these lines to g.c, line 2"});
    }
    void deleted()
    {
        QCOMPARE(notesOf({{"f.c", head + body + rest}}, {{"f.c", head + rest}},
                         {{"f.c", head + with(body, "range(tide)", "range(tide) * 2") + rest}}),
                 QStringList{"The new base deletes these lines; they stand in no other file that it changes"});
    }
    void reindented()
    {
        QCOMPARE(notesOf({{"f.c", head + body + rest}}, {{"f.c", head + with(body, "    ", "\t") + rest}},
                         {{"f.c", head + with(body, "range(tide)", "range(tide) * 2") + rest}}),
                 QStringList{"The new base only changes the white space of these lines"});
        QCOMPARE(notesOf({{"f.c", head + body + rest}},
                         {{"f.c", head + with(body, "range(tide)", "range(tide) * 2") + rest}},
                         {{"f.c", head + with(body, "= ", "=\n        ") + rest}}),
                 QStringList{"Your commit only breaks these lines in other places"});
    }
    void renamed()
    {
        const Files base{{"f.c", head + body + rest + "int lowest;\n"}, {"g.c", "extern int lowest;\nint a;\n"}};
        const Files newBase{{"f.c", with(head + body + rest + "int lowest;\n", "lowest", "bottom")},
                            {"g.c", "extern int bottom;\nint a;\n"}};
        QCOMPARE(
            notesOf(base, newBase, {{"f.c", with(head + body + rest + "int lowest;\n", "range(tide)", "range(2)")}}),
            QStringList{"The new base gives lowest the name bottom, here, in 1 other place of this file and in g.c; "
                        "your commit's lines say lowest still"});
    }
    // Something else is changed beside it.
    void renamedAndMore()
    {
        const Files base{{"f.c", head + body + rest + "int lowest;\n"}};
        const std::string renamed = with(head + body + rest + "int lowest;\n", "lowest", "bottom");
        QCOMPARE(notesOf(base, {{"f.c", with(renamed, "return highest", "return 2 * highest")}},
                         {{"f.c", with(head + body + rest + "int lowest;\n", "range(tide)", "range(2)")}}),
                 QStringList{"The new base gives lowest the name bottom, here and in 1 other place of this file; "
                             "your commit's lines say lowest still"});
    }
    void theFunctionElsewhere()
    {
        const Files base{{"f.c", head + body + rest}, {"g.c", "x = depth(1);\ny = 2;\n"}, {"h.c", "x = 1;\n"}};
        const Files newBase{{"f.c", with(head + body + rest, "measure(tide)", "measure(tide, 1)")},
                            {"g.c", "x = depth(1, 2);\ny = 2;\n"},
                            {"h.c", "x = 2;\n"}};
        QCOMPARE(notesOf(base, newBase, {{"f.c", with(head + body + rest, "measure(tide)", "measure(2)")}}),
                 QStringList{"The new base also changes lines with depth in g.c"});
    }
    // What explains nothing is not said.
    void nothing()
    {
        QCOMPARE(notesOf({{"f", "one\ntwo\nthree\n"}}, {{"f", "one\nTWO\nthree\n"}}, {{"f", "one\n2\nthree\n"}}),
                 QStringList());
    }

    void names()
    {
        const auto at = [](const char* text, int line) {
            return QString::fromStdString(std::string(functionAround(text, line)));
        };
        QCOMPARE(at("static int level(int a)\n{\n    x();\n}\n", 2), QStringLiteral("level"));
        QCOMPARE(at("class Tide:\n    def level(self):\n        return 1\n", 2), QStringLiteral("level"));
        QCOMPARE(at("pub fn rise(a: u8) {\n  x\n", 1), QStringLiteral("rise"));
        QCOMPARE(at("if (a)\n  b\n", 1), QString());
        QCOMPARE(at("one\ntwo\n", 9), QString());
        QCOMPARE(at("", 0), QString());
        const Renaming renaming = renamingBetween("a + tide(tide2, tide)", "a + ebb(tide2, ebb)");
        QCOMPARE(renaming.from, std::string("tide"));
        QCOMPARE(renaming.to, std::string("ebb"));
        QVERIFY(renamingBetween("tide + tide", "ebb + tide").from.empty());
        QVERIFY(renamingBetween("tide + ebb", "ebb + ebb").from.empty());
        QCOMPARE(renamingBetween("tide(1) + low + tide(3)", "ebb(2) + high + ebb(3)").to, std::string("ebb"));
        QVERIFY(renamingBetween("tide(1)", "tide(2)").from.empty());
        QVERIFY(renamingBetween("", "tide").from.empty());
    }

    void words_data()
    {
        QTest::addColumn<QByteArray>("before");
        QTest::addColumn<QByteArray>("after");
        QTest::addColumn<QStringList>("gone");
        QTest::addColumn<QStringList>("fresh");
        const auto row = [](const char* name, const char* before, const char* after, QStringList gone,
                            QStringList fresh) {
            QTest::newRow(name) << QByteArray(before) << QByteArray(after) << gone << fresh;
        };
        row("a word", "the tide is low\n", "the tide is high\n", {"low"}, {"high"});
        row("two words that meet", "a b c d e f\n", "a x y d e f\n", {"b c"}, {"x y"});
        row("a sign", "call(one, two);\n", "call(one; two);\n", {","}, {";"});
        row("within one of two lines", "same\nlevel = 1;\n", "same\nlevel = 12;\n", {"1"}, {"12"});
        row("a new line", "one\n", "one\n  and two\n", {}, {"and two"});
        row("a line that is gone", "one\n  and two\n", "one\n", {"and two"}, {});
        row("nothing was there", "", "one\n", {}, {});
        row("nothing in common", "alpha beta\n", "gamma delta\n", {}, {});
        row("line ends", "one two\n", "one two\r\n", {}, {});
        row("beyond ASCII", "d\xC3\xA4mmern im Hafen\n", "d\xC3\xBCnn im Hafen\n", {"d\xC3\xA4mmern"}, {"d\xC3\xBCnn"});
        row("words put in", "it is closed.\n", "it is closed all day.\n", {}, {"all day"});
        row("an indent that came along", "  return value * feet;\n", "  if (unit)\n      return value * metres;\n",
            {"feet"}, {"if (unit)", "metres"});
        row("white space within", "a = b\n", "a  = b\n", {" "}, {"  "});
        row("indented anew", "  level = one;\n", "\tlevel = one;\n", {"  "}, {"\t"});
    }
    void words()
    {
        QFETCH(QByteArray, before);
        QFETCH(QByteArray, after);
        QFETCH(QStringList, gone);
        QFETCH(QStringList, fresh);
        const ChangedWords found = changedWords(before.toStdString(), after.toStdString());
        const auto bytes = [](const std::vector<WordSpan>& spans, const QByteArray& text) {
            QStringList all;
            for (const WordSpan& span : spans)
                all << QString::fromUtf8(text.split('\n').at(span.line).mid(span.from, span.to - span.from));
            return all;
        };
        QCOMPARE(bytes(found.before, before), gone);
        QCOMPARE(bytes(found.after, after), fresh);
    }

    void theChangeOfACommit()
    {
        TempRepository repo;
        std::string text;
        for (int i = 1; i <= 30; ++i)
            text += "line " + std::to_string(i) + "\n";
        const std::string root = repo.commitFiles({{"f", text}, {"g", "1\n"}}, "Base", {}, "main");
        std::string next = with(with(text, "line 5\n", "line five\n"), "line 25\n", "");
        const std::string one = repo.commitFiles({{"f", next}, {"g", "2\n"}}, "One", {root}, "main");
        const std::string two =
            repo.commitFiles({{"f", {}}, {"new", with(next, "line 9\n", "nine\n")}}, "Two", {one}, "main");
        const Repository opened = repo.open();
        ObjectStore store(opened);
        const auto change = commitChange(store, *Oid::parse(one), {"none", "f"});
        QVERIFY(change);
        QCOMPARE(change->path, std::string("f"));
        QCOMPARE(change->otherFiles, 1u);
        QStringList rows;
        for (const ChangeRow& row : change->rows)
            rows << (row.gap ? QStringLiteral("…")
                             : QStringLiteral(" +-").mid(int(row.kind), 1) + QString::number(row.number) + ':' +
                                   QString::fromStdString(row.text));
        QCOMPARE(rows, (QStringList{" 2:line 2", " 3:line 3", " 4:line 4", "-5:line 5", "+5:line five", " 6:line 6",
                                    " 7:line 7", " 8:line 8", QString::fromUtf8("…"), " 22:line 22", " 23:line 23",
                                    " 24:line 24", "-25:line 25", " 25:line 26", " 26:line 27", " 27:line 28"}));
        const auto renamed = commitChange(store, *Oid::parse(two), {"new", "f"});
        QVERIFY(renamed);
        QCOMPARE(renamed->earlierPath, std::string("f"));
        QCOMPARE(renamed->otherFiles, 0u);
        QCOMPARE(std::ranges::count(renamed->rows, ChangedLine::Added, &ChangeRow::kind), 1);
        const auto none = commitChange(store, *Oid::parse(two), {"g"});
        QVERIFY(none && none->rows.empty() && !none->words.empty());
    }
};

QTEST_APPLESS_MAIN(TestElsewhere)
#include "test_elsewhere.moc"
