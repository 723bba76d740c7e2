// SPDX-License-Identifier: MIT
//
// Line ends and encodings of whole files: found, changed without losing anything, kept with a settlement and carried on.
#include "core/settle/carry.h"
#include "core/settle/remembered.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;

namespace {

const std::string marked = "\xEF\xBB\xBF";

FileForm as(std::optional<LineEnds> ends, std::optional<Encoding> encoding = {}) { return {ends, encoding, {}}; }

} // namespace

class TestFileForm : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void found()
    {
        const auto is = [](const std::string& text, LineEnds ends, Encoding encoding) {
            return formOf(text) == TextForm{ends, encoding};
        };
        QVERIFY(is("", LineEnds::None, Encoding::Ascii));
        QVERIFY(is("one", LineEnds::None, Encoding::Ascii));
        QVERIFY(is("one\r", LineEnds::None, Encoding::Ascii));
        QVERIFY(is("one\ntwo", LineEnds::Lf, Encoding::Ascii));
        QVERIFY(is("\n", LineEnds::Lf, Encoding::Ascii));
        QVERIFY(is("one\r\ntwo\r\n", LineEnds::CrLf, Encoding::Ascii));
        QVERIFY(is("one\r\ntwo\n", LineEnds::Mixed, Encoding::Ascii));
        QVERIFY(is("\xC3\xA9\n", LineEnds::Lf, Encoding::Utf8));
        QVERIFY(is(marked + "e\n", LineEnds::Lf, Encoding::Utf8Mark));
        QVERIFY(is("\xE9\n", LineEnds::Lf, Encoding::Latin1));
    }

    void differ()
    {
        const TextForm none, lf = formOf("a\n"), crLf = formOf("a\r\n"), mixed = formOf("a\r\nb\n");
        QVERIFY(lineEndsDiffer(lf, crLf) && lineEndsDiffer(lf, mixed) && lineEndsDiffer(mixed, crLf));
        QVERIFY(!lineEndsDiffer(lf, lf) && !lineEndsDiffer(none, crLf));
        const TextForm utf8 = formOf("\xC3\xA9\n"), latin1 = formOf("\xE9\n"), mark = formOf(marked + "a\n");
        QVERIFY(encodingsDiffer(utf8, latin1) && encodingsDiffer(mark, utf8) && encodingsDiffer(mark, lf));
        QVERIFY(!encodingsDiffer(lf, utf8) && !encodingsDiffer(latin1, lf));
    }

    void changed()
    {
        QCOMPARE(inForm("a\r\nb\nc\rd\r\n", as(LineEnds::Lf)).value(), std::string("a\nb\nc\rd\n"));
        QCOMPARE(inForm("a\r\nb\nc\rd\r\r\n", as(LineEnds::CrLf)).value(), std::string("a\r\nb\r\nc\rd\r\r\n"));
        QCOMPARE(inForm("a\r", as(LineEnds::CrLf)).value(), std::string("a\r"));
        QCOMPARE(inForm("\xE9\n", as({}, Encoding::Utf8)).value(), std::string("\xC3\xA9\n"));
        QCOMPARE(inForm("\xC3\xA9\n", as({}, Encoding::Latin1)).value(), std::string("\xE9\n"));
        QCOMPARE(inForm(marked + "\xC3\xA9", as({}, Encoding::Latin1)).value(), std::string("\xE9"));
        QVERIFY(!inForm("\xE2\x80\xA6\n", as({}, Encoding::Latin1))); // an ellipsis
        QCOMPARE(inForm("a\n", as({}, Encoding::Utf8Mark)).value(), marked + "a\n");
        QCOMPARE(inForm(marked + "a\n", as({}, Encoding::Utf8Mark)).value(), marked + "a\n");
        QCOMPARE(inForm(marked + "a\n", as({}, Encoding::Utf8)).value(), std::string("a\n"));
        QCOMPARE(inForm("", as(LineEnds::CrLf, Encoding::Utf8Mark)).value(), std::string());
        // Every byte there and back.
        std::string all;
        for (int i = 0; i < 256; ++i)
            all += char(i);
        const std::string utf8 = inForm(all, as({}, Encoding::Utf8)).value();
        QVERIFY(formOf(utf8).encoding == Encoding::Utf8);
        QCOMPARE(inForm(utf8, as({}, Encoding::Latin1)).value(), all);
    }

    void kept()
    {
        const test::TempRepository repo;
        const Repository opened = repo.open();
        const Oid one = *Oid::parse(std::string(40, '1'));
        const ReplayKey replay{"refs/heads/topic", one, one};
        // Nothing is left to be asked in this form, and something in that.
        FileSettlement nothing{{one, one, one}, {SettledStretch{}}, {LineEnds::CrLf, Encoding::Latin1, FileMode::File}};
        FileSettlement some{{one, one, one},
                            {SettledStretch{}, SettledHunk{one, {Choice::NewBase, {}}}, SettledStretch{}},
                            {LineEnds::Lf, Encoding::Utf8Mark, FileMode::Executable}};
        const Settlements all = Settlements().with({one, "a"}, nothing).with({one, "b"}, some);
        QVERIFY(saveOpenSettlements(opened, replay, all));
        QCOMPARE(loadOpenSettlements(opened, replay), all);
    }

    // Other texts meet: the form stays settled, and what was typed is not lost.
    void carried()
    {
        const std::string was = "one\ntwo\n";
        std::vector<Segment> segments(1);
        segments[0].text = was;
        const Oid one = *Oid::parse(std::string(40, '1'));
        FileSettlement before = undecidedText({}, segments);
        before.form.lineEnds = LineEnds::CrLf;
        std::get<SettledStretch>(before.pieces[0]).edit = StretchEdit{was, "one\nTWO\n"};
        const std::string now = "one\r\ntwo\r\n";
        segments[0].text = now;
        const FileSettlement after = stillHolding(&before, undecidedText({one, one, one}, segments), segments);
        QVERIFY(after.form == before.form);
        const auto& stretch = std::get<SettledStretch>(after.pieces[0]);
        QVERIFY(stretch.waiting && stretch.waiting->edit.text == "one\nTWO\n");
        QCOMPARE(after.questions(), 2u); // the edit, and the form
        // Of a whole path there is none.
        QVERIFY(!stillHolding(&before, undecidedPath({one, one, one}), {}).form.any());
    }
};

QTEST_APPLESS_MAIN(TestFileForm)
#include "test_file_form.moc"
