// SPDX-License-Identifier: MIT
//
// What is remarked on in a settled text, and what is not because a side has it.
#include "core/settle/remarks.h"

#include <QtTest>

using namespace espalier;

namespace {

using Found = std::vector<std::pair<int, Remark::Kind>>;

Found found(const std::vector<Remark>& remarks)
{
    Found all;
    for (const Remark& remark : remarks)
        all.emplace_back(remark.line, remark.kind);
    return all;
}

Found judged(const std::string& ancestor, const std::string& newBase, const std::string& commit,
             const std::string& settled, int markerSize = 7)
{
    return found(remarksOn({ancestor, newBase, commit, settled}, markerSize));
}

const std::string indented = "f()\n{\n    one;\n    two;\n    three;\n    four;\n}\n";
const std::string tabbed = "f()\n{\n\tone;\n\ttwo;\n\tthree;\n\tfour;\n}\n";

std::string changed(std::string text, const std::string& from, const std::string& to)
{
    const std::size_t at = text.find(from);
    return at == std::string::npos ? std::string() : text.replace(at, from.size(), to);
}

} // namespace

class TestRemarks : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void markers()
    {
        const std::string left = "a\n<<<<<<< new base\nx\n||||||| before\nw\n=======\ny\n>>>>>>> mine\nb\n";
        QCOMPARE(judged("a\nw\nb\n", "a\nx\nb\n", "a\ny\nb\n", left),
                 (Found{{1, Remark::Marker}, {3, Remark::Marker}, {5, Remark::Marker}, {7, Remark::Marker}}));
        QVERIFY(remarksOn({"", "", "", left})[0].words.ends_with("“<<<<<<< new base”"));
        // One that was overlooked; also where line ends are CR LF.
        QCOMPARE(judged("", "a\n", "b\n", "a\n}\n=======\n"), (Found{{2, Remark::Marker}}));
        QCOMPARE(judged("\r\n", "a\r\n", "b\r\n", "a\r\n>>>>>>> x\r\n"), (Found{{1, Remark::Marker}}));
        // A side that is missing knows nothing.
        QCOMPARE(found(remarksOn({{}, "a\n", "b\n", "<<<<<<<\n"})), (Found{{0, Remark::Marker}}));
    }
    void whatIsNoMarker()
    {
        // A text about markers has them on one side.
        const std::string about = "About\n<<<<<<< HEAD\n=======\n>>>>>>> topic\n";
        for (const bool ofNewBase : {true, false})
            QCOMPARE(judged("About\n", ofNewBase ? about : "About\n", ofNewBase ? "x\n" : about, about + "more\n"),
                     Found{});
        QCOMPARE(judged(about, "a\n", "b\n", about), Found{});
        // Titles of seven letters, underlined and overlined.
        QCOMPARE(judged("", "a\n", "b\n", "a\nChanges\n=======\n\ntext\n"), Found{});
        QCOMPARE(judged("", "a\n", "b\n", "=======\nÄnderun\n=======\n"), Found{});
        for (const char* line : {"<<<<<<<x", "<<<<<<", "<<<<<<<<", " <<<<<<<", "======= x", "-------", "x <<<<<<< y"})
            QCOMPARE(judged("", "a\n", "b\n", std::string("a\n") + line + "\n"), Found{});
    }
    // A `=` between two that were left is one too, be there such a heading elsewhere.
    void headingsHideNothing()
    {
        const std::string side = "Old one\n=======\n";
        QCOMPARE(judged("", side, "b\n", side + "<<<<<<< a\nx\n=======\ny\n>>>>>>> b\n"),
                 (Found{{2, Remark::Marker}, {4, Remark::Marker}, {6, Remark::Marker}}));
    }
    void markerSizeCounts()
    {
        const std::string text = "<<<<<<< x\n<<<<<<<<<<<< y\n";
        QCOMPARE(judged("", "a\n", "b\n", text), (Found{{0, Remark::Marker}}));
        QCOMPARE(judged("", "a\n", "b\n", text, 12), (Found{{1, Remark::Marker}}));
    }
    void lineEnds()
    {
        QCOMPARE(judged("a\nb\nc\n", "a\nx\nc\n", "a\ny\nc\n", "a\nx\r\nc\n"), (Found{{1, Remark::LineEnds}}));
        QCOMPARE(judged("a\r\nb\r\nc\r\n", "a\r\nx\r\nc\r\n", "a\r\ny\r\nc\r\n", "a\r\nx\r\ny\nc\r\n"),
                 (Found{{2, Remark::LineEnds}}));
        // The sides differ in all lines; each is whole in itself, the settled text is not.
        QCOMPARE(judged("a\nb\n", "a\nx\n", "a\r\ny\r\n", "a\r\nx\n"), (Found{{0, Remark::LineEnds}}));
        QCOMPARE(judged("a\nb\n", "a\nx\n", "a\r\ny\r\n", "a\r\nx\r\n"), Found{});
        // One side mixes them already; a last line without an end is of no kind.
        QCOMPARE(judged("a\r\nb\n", "a\r\nx\n", "a\r\ny\n", "a\r\nx\r\nz\n"), Found{});
        QCOMPARE(judged("a\r\nb", "a\r\nx", "a\r\ny", "a\r\nx"), Found{});
    }
    void indentation()
    {
        const std::string mine = changed(indented, "two", "2"), theirs = changed(indented, "two", "II");
        QCOMPARE(judged(indented, theirs, mine, changed(indented, "    two;", "\ttwo;")),
                 (Found{{3, Remark::Indentation}}));
        // Lines below each other are one remark.
        QCOMPARE(judged(indented, theirs, mine, changed(indented, "    two;", "\tII;\n\t2;\n\tboth;")),
                 (Found{{3, Remark::Indentation}}));
        QCOMPARE(judged(indented, theirs, mine, changed(indented, "    two;", "  \ttwo;")),
                 (Found{{3, Remark::Indentation}}));
        QCOMPARE(judged(tabbed, changed(tabbed, "two", "II"), changed(tabbed, "two", "2"),
                        changed(tabbed, "\ttwo;", "    two;")),
                 (Found{{3, Remark::Indentation}}));
        // Alignment behind tabs, a comment's star, another depth, no indentation: nothing wrong.
        for (const char* line : {"\t    two;", " * two", "  * two", "\t\t\ttwo;", "two;"})
            QCOMPARE(judged(tabbed, changed(tabbed, "two", "II"), changed(tabbed, "two", "2"),
                            changed(tabbed, "\ttwo;", line)),
                     Found{});
        // A side has the line, or is used to both.
        QCOMPARE(judged(indented, changed(indented, "    two", "\ttwo"), mine, changed(indented, "    two", "\ttwo")),
                 Found{});
        const std::string both = indented + tabbed;
        QCOMPARE(judged(both, changed(both, "two", "II"), changed(both, "two", "2"), changed(both, "    two", "\tII")),
                 Found{});
        // Lines far above and below are no neighbours; what all of it became is a habit.
        std::string apart = mine;
        for (int i = 0; i < 30; ++i)
            apart += "text\n";
        QCOMPARE(judged(apart, apart, apart, apart + "\ttwo;\n\tthree;\n"), Found{});
        QCOMPARE(judged(apart, apart, apart, apart + "    one;\n    two;\n\tthree;\n"),
                 (Found{{39, Remark::Indentation}}));
        QCOMPARE(judged(indented, theirs, mine, tabbed + "    one;\n    two;\n"), Found{});
        // What a whole new file is indented with is its own matter.
        QCOMPARE(judged("", "a\n", "b\n", tabbed), Found{});
    }
    void isBounded()
    {
        std::string text;
        for (int i = 0; i < 5000; ++i)
            text += "<<<<<<< " + std::to_string(i) + "\n";
        QCOMPARE(remarksOn({"", "a\n", "b\n", text}).size(), 100u);
        // What stands in the line is safe to show, and short.
        const auto hostile = remarksOn({"", "", "", "<<<<<<< \x1b[31m\xe2\x80\xae" + std::string(5000, 'x') + "\n"});
        QCOMPARE(hostile.size(), 1u);
        QVERIFY(hostile[0].words.size() < 200 && !hostile[0].words.contains('\x1b') &&
                !hostile[0].words.contains("\xe2\x80\xae"));
    }
};

QTEST_APPLESS_MAIN(TestRemarks)
#include "test_remarks.moc"
