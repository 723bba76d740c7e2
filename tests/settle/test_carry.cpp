// SPDX-License-Identifier: MIT
//
// What of a settlement holds when its conflict is met again with other texts, and what the older form on disk becomes.
#include "core/git/objects.h"
#include "core/settle/carry.h"
#include "core/settle/compose.h"
#include "core/settle/remembered.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <random>

using namespace espalier;
using namespace espalier::test;

namespace {

std::string numbered(const std::map<int, std::string>& changed, int last = 40)
{
    std::string text;
    for (int i = 1; i <= last; ++i)
        text += (changed.contains(i) ? changed.at(i) : std::to_string(i)) + "\n";
    return text;
}

// Three texts merged, with what the settlement functions ask of a conflict.
struct Scene {
    Scene(const std::map<int, std::string>& ofNewBase, const std::map<int, std::string>& ofCommit)
        : newBase(numbered(ofNewBase)), commit(numbered(ofCommit)), merge(mergeTexts(ancestor, newBase, commit))
    {
    }
    std::vector<Segment> segments() const { return segmentsOf(merge, ancestor, newBase, commit); }
    FileSettlement fresh() const
    {
        return undecidedText({textsOfHunk(ancestor, {}, {}), textsOfHunk(newBase, {}, {}), textsOfHunk(commit, {}, {})},
                             segments());
    }
    FileSettlement holding(const FileSettlement& kept) const { return stillHolding(&kept, fresh(), segments()); }
    std::string text(const FileSettlement& settled) const
    {
        return settledBytes(segments(), settled.pieces, Choice::NewBase);
    }
    // An edit of a stretch: one line for another.
    void edit(FileSettlement& settled, std::size_t stretch, const std::string& line, const std::string& by) const
    {
        const std::string was(segments()[2 * stretch].text);
        std::string typed = was;
        const std::size_t at = ("\n" + typed).find("\n" + line + "\n");
        QVERIFY(at != std::string::npos);
        typed.replace(at, line.size(), by);
        std::get<SettledStretch>(settled.pieces[2 * stretch]).edit = StretchEdit{was, typed};
    }

    std::string ancestor = numbered({});
    std::string newBase, commit;
    TextMerge merge;
};

const std::optional<WaitingEdit>& waitingIn(const FileSettlement& settled, std::size_t stretch)
{
    return std::get<SettledStretch>(settled.pieces[2 * stretch]).waiting;
}

// JSON that is written with apostrophes here.
std::string quoted(std::string json)
{
    std::ranges::replace(json, '\'', '"');
    return json;
}

} // namespace

class TestCarry : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void theSameInputsHoldAll()
    {
        const Scene scene({{10, "N"}, {30, "M"}}, {{10, "Y"}, {30, "Z"}});
        FileSettlement made = scene.fresh();
        QCOMPARE(made.hunkCount(), 2u);
        made.decide(1, {Choice::Typed, "typed\n"});
        scene.edit(made, 2, "40", "forty");
        QCOMPARE(scene.holding(made), made);
        QCOMPARE(stillHolding(nullptr, scene.fresh(), scene.segments()), scene.fresh());
    }

    // An earlier decision changed lines outside the hunks: edits go on top of that.
    void editsGoWhereTheirTextWent()
    {
        const Scene before({{10, "N"}, {30, "M"}}, {{10, "Y"}, {30, "Z"}});
        const Scene now({{3, "three"}, {10, "N"}, {20, "twenty\nand more"}, {30, "M"}}, {{10, "Y"}, {30, "Z"}});
        FileSettlement made = before.fresh();
        made.decide(0, {Choice::YourCommit, {}});
        before.edit(made, 1, "16", "sixteen");
        before.edit(made, 2, "40", "forty");
        const FileSettlement holds = now.holding(made);
        QCOMPARE(holds.undecided(), 1u);
        QCOMPARE(
            now.text(holds),
            numbered({{3, "three"}, {10, "Y"}, {16, "sixteen"}, {20, "twenty\nand more"}, {30, "M"}, {40, "forty"}}));
        // And back again.
        QCOMPARE(before.holding(holds), made);
    }

    void aHunkComesIntoAStretch()
    {
        const Scene before({{30, "M"}}, {{30, "Z"}});
        const Scene now({{15, "N"}, {30, "M"}}, {{15, "Y"}, {30, "Z"}});
        FileSettlement made = before.fresh();
        made.decide(0, {Choice::YourCommit, {}});
        before.edit(made, 0, "5", "five");
        // The commit's own change of line 15 merged cleanly before; take it in as the scene has it.
        const Scene clean({{30, "M"}}, {{15, "Y"}, {30, "Z"}});
        FileSettlement carried = clean.holding(made);
        QCOMPARE(clean.text(carried), numbered({{5, "five"}, {15, "Y"}, {30, "Z"}}));
        clean.edit(carried, 0, "20", "twenty");
        std::get<SettledStretch>(carried.pieces[0]).edit->text = numbered({{5, "five"}, {15, "Y"}, {20, "twenty"}}, 29);
        const FileSettlement holds = now.holding(carried);
        QCOMPARE(holds.hunkCount(), 2u);
        QCOMPARE(holds.undecided(), 1u);
        QCOMPARE(now.text(holds), numbered({{5, "five"}, {15, "N"}, {20, "twenty"}, {30, "Z"}}));
        // It goes again: one stretch as before.
        QCOMPARE(clean.text(clean.holding(holds)), numbered({{5, "five"}, {15, "Y"}, {20, "twenty"}, {30, "Z"}}));
    }

    void whatFitsNowhereWaits()
    {
        const Scene before({{30, "M"}}, {{30, "Z"}});
        const Scene now({{20, "zwanzig"}, {30, "M"}}, {{30, "Z"}});
        FileSettlement made = before.fresh();
        made.decide(0, {Choice::YourCommit, {}});
        before.edit(made, 0, "20", "twenty");
        QVERIFY(made.decided());
        FileSettlement holds = now.holding(made);
        QVERIFY(!holds.decided());
        QCOMPARE(holds.undecided(), 1u);
        QCOMPARE(holds.questions(), 2u);
        QVERIFY(waitingIn(holds, 0) && waitingIn(holds, 0)->edit.text.contains("twenty"));
        QCOMPARE(now.text(holds), numbered({{20, "zwanzig"}, {30, "Z"}}));
        // Where it waits counts as open.
        QCOMPARE(compose(now.merge, now.newBase, now.commit, holds.pieces, Choice::YourCommit).open,
                 (std::vector<LineRange>{{0, 29}}));
        // Kept as it is, it fits once the earlier decision is as before.
        QCOMPARE(before.holding(holds), made);
        const FileSettlement back = withEditAnswered(holds, now.segments(), 0, true);
        QVERIFY(back.decided());
        QCOMPARE(now.text(back), numbered({{20, "twenty"}, {30, "Z"}}));
        const FileSettlement left = withEditAnswered(holds, now.segments(), 0, false);
        QVERIFY(left.decided());
        QCOMPARE(now.text(left), numbered({{20, "zwanzig"}, {30, "Z"}}));
    }

    // Whatever becomes of hunks and stretches, a line that was typed is in the text or in an edit that waits.
    void nothingThatWasTypedIsLost()
    {
        std::mt19937 random(20261128);
        const auto some = [&](const std::string& word) {
            std::map<int, std::string> lines;
            for (int i = 0; i < 4; ++i)
                lines[int(random() % 8) * 5 + 1] = word + std::to_string(random() % 3);
            return lines;
        };
        int carried = 0, waited = 0;
        for (int round = 0; round < 400; ++round) {
            const std::map<int, std::string> own = some("own");
            const Scene before(some("base"), own), now(some("base"), own);
            FileSettlement made = before.fresh();
            if (made.hunkCount() == 0 || now.fresh().hunkCount() == 0)
                continue;
            for (std::size_t i = 0; i < made.hunkCount(); ++i)
                if (random() % 2)
                    made.decide(i, {Choice::Typed, "hunk " + std::to_string(i) + "\n"});
            const std::size_t stretch = random() % (made.hunkCount() + 1);
            const std::string was(before.segments()[2 * stretch].text);
            std::get<SettledStretch>(made.pieces[2 * stretch]).edit = StretchEdit{was, was + "typed here\n"};
            const FileSettlement holds = now.holding(made);
            QCOMPARE(holds.pieces.size(), now.segments().size());
            bool waits = false;
            for (std::size_t i = 0; i <= holds.hunkCount(); ++i)
                waits |= waitingIn(holds, i) && waitingIn(holds, i)->edit.text.contains("typed here");
            const bool there = now.text(holds).contains("typed here");
            QVERIFY(there != waits);
            QCOMPARE(holds.decided(), holds.undecided() == 0);
            carried += there;
            waited += waits;
            // What is decided was decided for these very texts.
            for (std::size_t i = 0; i < holds.hunkCount(); ++i)
                if (holds.decision(i).choice != Choice::Undecided)
                    QVERIFY(std::ranges::contains(made.pieces, holds.pieces[holds.pieceOfHunk(i)]));
        }
        QVERIFY(carried > 50 && waited > 5);
    }

    void wholePaths()
    {
        const ThreeBlobs blobs{textsOfHunk("a", {}, {}), textsOfHunk("b", {}, {}), {}};
        FileSettlement made = undecidedPath(blobs);
        made.decide(0, {Choice::NewBase, {}});
        QCOMPARE(stillHolding(&made, undecidedPath(blobs), {}), made);
        const ThreeBlobs others{blobs.ancestor, blobs.ancestor, {}};
        QCOMPARE(stillHolding(&made, undecidedPath(others), {}), undecidedPath(others));
    }

    // ---- The form on disk before this one: "hunks", and "wholeText" over them.

    void olderFormIsRead_data()
    {
        QTest::addColumn<QByteArray>("hunks");
        QTest::addColumn<QByteArray>("whole");
        QTest::addColumn<int>("undecided");
        QTest::addColumn<QByteArray>("text");
        const QByteArray both = "[{'choice':'your-commit'},{'choice':'typed','text':'74797065640a'}]";
        const QByteArray one = "[{'choice':'your-commit'},{'choice':'undecided'}]";
        const auto bytes = [](const std::map<int, std::string>& changed) {
            return QByteArray::fromStdString(numbered(changed));
        };
        QTest::newRow("hunks only") << both << QByteArray() << 0 << bytes({{10, "Y"}, {30, "typed"}});
        QTest::newRow("and an edit") << both << bytes({{3, "three"}, {10, "Y"}, {30, "typed"}, {40, "forty"}}) << 0
                                     << bytes({{3, "three"}, {10, "Y"}, {30, "typed"}, {40, "forty"}});
        // The whole text held the new base's lines for what was undecided: it stays undecided.
        QTest::newRow("undecided") << one << bytes({{10, "Y"}, {20, "twenty"}, {30, "M"}}) << 1
                                   << bytes({{10, "Y"}, {20, "twenty"}, {30, "M"}});
        QTest::newRow("lines put in at a hunk's edge")
            << one << bytes({{10, "Y\nmore"}, {30, "M"}}) << 1 << bytes({{10, "Y\nmore"}, {30, "M"}});
        QTest::newRow("not to be taken apart")
            << one << QByteArray("something else\n") << 2 << bytes({{10, "Y"}, {30, "M"}});
    }
    void olderFormIsRead()
    {
        QFETCH(QByteArray, hunks);
        QFETCH(QByteArray, whole);
        QFETCH(int, undecided);
        QFETCH(QByteArray, text);
        const Scene scene({{10, "N"}, {30, "M"}}, {{10, "Y"}, {30, "Z"}});
        const FileSettlement fresh = scene.fresh();
        const std::string tip(40, '1'), onto(40, '2'), of(40, '3');
        std::string json = "{'tip':'" + tip + "','files':[{'of':'" + of + "','path':'66','ancestor':'" +
                           fresh.blobs.ancestor.hex() + "','newBase':'" + fresh.blobs.newBase.hex() + "','commit':'" +
                           fresh.blobs.commit.hex() + "','hunks':" + hunks.toStdString();
        if (!whole.isEmpty())
            json += ",'wholeText':'" + whole.toHex().toStdString() + '\'';
        json += ",'hunkTexts':['" + std::get<SettledHunk>(fresh.pieces[1]).texts.hex() + "','" +
                std::get<SettledHunk>(fresh.pieces[3]).texts.hex() + "']}]}";
        TempRepository repo;
        const Repository opened = repo.open();
        const ReplayKey key{"refs/heads/topic", *Oid::parse(tip), *Oid::parse(onto)};
        const std::string name = key.branch + '\n' + onto;
        repo.writeFile(".git/espalier/settling/" + hashObject(ObjectType::Blob, name).hex(), quoted(json));
        const Settlements loaded = loadOpenSettlements(opened, key);
        const FileSettlement* kept = loaded.find({*Oid::parse(of), "f"});
        QVERIFY(kept);
        // Before the merge is at hand nothing of an edited file counts as decided.
        QCOMPARE(kept->decided(), whole.isEmpty() && undecided == 0);
        const FileSettlement holds = scene.holding(*kept);
        QCOMPARE(int(holds.undecided()), undecided);
        QCOMPARE(QByteArray::fromStdString(scene.text(holds)), text);
        // The new form keeps what was read, and reads the same.
        QVERIFY(saveOpenSettlements(opened, key, loaded));
        QVERIFY(loadOpenSettlements(opened, key) == loaded);
    }

    // Made for other inputs, the whole text says nothing of which lines were typed: it waits.
    void anOlderWholeFileForOtherInputsWaits()
    {
        const Scene before({{30, "M"}}, {{30, "Z"}}), now({{3, "three"}, {30, "M"}}, {{30, "Z"}});
        FileSettlement kept = before.fresh();
        kept.decide(0, {Choice::YourCommit, {}});
        std::get<SettledStretch>(kept.pieces[0]).waiting =
            WaitingEdit{{{}, numbered({{20, "twenty"}, {30, "Z"}})}, true};
        const FileSettlement holds = now.holding(kept);
        QCOMPARE(holds.undecided(), 1u);
        QCOMPARE(now.text(holds), numbered({{3, "three"}, {30, "Z"}}));
        QCOMPARE(now.text(withEditAnswered(holds, now.segments(), 0, true)), numbered({{20, "twenty"}, {30, "Z"}}));
    }

    void damagedFilesAreNotTaken()
    {
        TempRepository repo;
        const Repository opened = repo.open();
        const std::string tip(40, '1');
        const ReplayKey key{"refs/heads/topic", *Oid::parse(tip), *Oid::parse(tip)};
        const std::string path =
            ".git/espalier/settling/" + hashObject(ObjectType::Blob, key.branch + '\n' + tip).hex();
        const std::string ids =
            "'of':'" + tip + "','path':'66','ancestor':'" + tip + "','newBase':'" + tip + "','commit':'" + tip + "',";
        const auto load = [&](const std::string& rest) {
            repo.writeFile(path, quoted("{'tip':'" + tip + "','files':[{" + ids + rest + "}]}"));
            return loadOpenSettlements(opened, key);
        };
        QVERIFY(!load("'pieces':[{},{'choice':'new-base'},{}]").empty());
        for (const char* rest : {"'pieces':[]", "'pieces':[{},{}]", "'pieces':[{},{'choice':'new-base'}]",
                                 "'pieces':[{'choice':'new-base'},{},{}]", "'pieces':[{'edit':{'was':'0'}}]",
                                 "'pieces':[{},{'choice':'best'},{}]", "'pieces':7", "'hunks':[3]"})
            QVERIFY2(load(rest).empty(), rest);
    }

    // Cut off anywhere, or something else altogether: as if nothing had been settled, and written anew.
    void cutOffIsAsIfItWereNotThere()
    {
        TempRepository repo;
        const Repository opened = repo.open();
        const Oid id = *Oid::parse(std::string(40, '1'));
        const ReplayKey key{"refs/heads/topic", id, id};
        const Settlements settled = Settlements().with(
            {id, "a.txt"},
            {{id, id, id}, {SettledStretch{}, SettledHunk{id, {Choice::Typed, "mine\n"}}, SettledStretch{}}});
        QVERIFY(saveOpenSettlements(opened, key, settled));
        const std::string path =
            ".git/espalier/settling/" + hashObject(ObjectType::Blob, key.branch + '\n' + id.hex()).hex();
        const std::string whole = repo.readFile(path);
        QVERIFY(loadOpenSettlements(opened, key).files() == settled.files());
        for (std::size_t length = 0; length + 1 < whole.size(); ++length) {
            repo.writeFile(path, whole.substr(0, length));
            QVERIFY2(loadOpenSettlements(opened, key).empty(), std::to_string(length).c_str());
        }
        for (const std::string& other : {std::string(100'000, '['), std::string("[]"), std::string("7"),
                                         std::string(1000, '\0'), std::string(1000, '\xff')}) {
            repo.writeFile(path, other);
            QVERIFY(loadOpenSettlements(opened, key).empty());
        }
        QVERIFY(saveOpenSettlements(opened, key, settled));
        QVERIFY(loadOpenSettlements(opened, key).files() == settled.files());
    }
};

QTEST_GUILESS_MAIN(TestCarry)
#include "test_carry.moc"
