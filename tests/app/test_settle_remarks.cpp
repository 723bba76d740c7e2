// SPDX-License-Identifier: MIT
// What looks wrong in a settled file, in the real pages: it is said with its line, gone to, and stands before apply until it is
// mended or answered. The settle page, its list, the dry run page and the flow say the same.
#include "app/dryrun/dry_run_page.h"
#include "app/session/readable.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "tests/support/settling.h"
#include "tests/support/temp_repository.h"

#include <QPushButton>
#include <QTextBlock>
#include <QtTest>

using namespace espalier;
using test::Files;

namespace {

constexpr int patience = 20000;
constexpr char topic[] = "refs/heads/topic/x";

std::vector<std::string> words(const std::vector<Remark>& remarks)
{
    std::vector<std::string> all;
    for (const Remark& remark : remarks)
        all.push_back(std::to_string(remark.line + 1) + ": " + remark.words);
    return all;
}

std::string object(const std::string& middle) { return "{\n  \"first\": 1,\n" + middle + "  \"last\": 9\n}\n"; }

} // namespace

class TestSettleRemarks : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;
    std::unique_ptr<DryRunPage> m_dryRun;

    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    HunkList* list() const { return m_page->findChild<HunkList*>(); }
    NoticeBar* bar(const QWidget* page) const { return page->findChild<NoticeBar*>(QStringLiteral("wrong")); }
    QPushButton* button(const QWidget* page, const char* name) const
    {
        const auto all = page->findChildren<QPushButton*>(QLatin1String(name)); // those of an older line go later
        return all.isEmpty() ? nullptr : all.last();
    }
    TextPane* middle() const { return editor()->pane(ConflictEditor::Pane::Settled); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    int lineOfCursor() const { return middle()->numberOfRow(middle()->textCursor().blockNumber()); }

    void start(const Files& base, const Files& newBase, const Files& mine, const Files& later = {})
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto first = m_repo->commitFiles(base, "Base", {}, "main");
        const auto one = m_repo->commitFiles(mine, "Mine", {first}, "topic/x");
        if (!later.empty())
            m_repo->commitFiles(later, "Later", {one}, "topic/x");
        m_repo->commitFiles(newBase, "Upstream", {first}, "main");
        test::openTopic(*m_repo, topic, m_open);
        QVERIFY(m_open.plan);
        m_dryRun = std::make_unique<DryRunPage>(m_open.session.get(), m_open.flow.get());
        m_dryRun->show();
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        QVERIFY(test::beginSettling(*m_page, m_open));
        QTRY_VERIFY_WITH_TIMEOUT(list()->fileCount() > 0, patience);
    }
    void type(int hunk, const QString& text)
    {
        editor()->setCurrentHunk(hunk);
        middle()->setFocus();
        middle()->textCursor().insertText(text);
        editor()->flush();
        caughtUp();
    }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_dryRun.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }

    void aMarkerStandsBeforeApply()
    {
        start({{"notes", "a\nb\nc\n"}}, {{"notes", "a\ntheirs\nc\n"}}, {{"notes", "a\nmine\nc\n"}});
        QVERIFY(!bar(m_page.get())->isVisible());
        type(0, QStringLiteral("<<<<<<< mine\nmine"));
        QVERIFY(m_open.flow->run()->clean);
        const QString line =
            QStringLiteral("Before this is applied: a conflict marker is left: “<<<<<<< mine” (line 2 of notes).");
        for (const QWidget* page : {static_cast<QWidget*>(m_page.get()), static_cast<QWidget*>(m_dryRun.get())}) {
            QVERIFY(bar(page)->isVisible());
            QCOMPARE(bar(page)->line(), line);
        }
        QVERIFY(!m_open.flow->canApply());
        QVERIFY(!button(m_dryRun.get(), "apply")->isEnabled());
        const std::string before = m_repo->git({QStringLiteral("rev-parse"), QLatin1String(topic)});
        m_open.flow->apply(); // by whatever way it is asked
        QTest::qWait(50);
        QCOMPARE(m_repo->git({QStringLiteral("rev-parse"), QLatin1String(topic)}), before);
        // The list has it, and its row goes there.
        QTreeWidgetItem* file = list()->fileItem(0);
        QCOMPARE(file->childCount(), 2);
        QCOMPARE(file->child(1)->text(0), QStringLiteral("line 2"));
        QVERIFY(list()->commitItem(0)->text(1).contains(QStringLiteral("1 to look at")));
        middle()->moveCursor(QTextCursor::End);
        list()->setFocus();
        list()->setCurrentItem(file->child(1));
        QCOMPARE(lineOfCursor(), 2);
        QVERIFY(list()->hasFocus());
        // F8 goes there too, and not on.
        QSignalSpy done(m_page.get(), &SettlePage::allSettled);
        middle()->moveCursor(QTextCursor::End);
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QCOMPARE(lineOfCursor(), 2);
        QVERIFY(middle()->hasFocus());
        QCOMPARE(done.size(), 0);
        // Mended, it is gone everywhere.
        QTextCursor cursor = middle()->textCursor();
        cursor.select(QTextCursor::LineUnderCursor);
        cursor.removeSelectedText();
        cursor.deleteChar();
        editor()->flush();
        caughtUp();
        QVERIFY(!bar(m_page.get())->isVisible() && !bar(m_dryRun.get())->isVisible());
        QCOMPARE(file->childCount(), 1);
        QVERIFY(button(m_dryRun.get(), "apply")->isEnabled());
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QTRY_COMPARE_WITH_TIMEOUT(done.size(), 1, patience);
        test::applyAnnounced(*m_repo, *m_open.flow, topic);
        QCOMPARE(m_repo->git({QStringLiteral("show"), QStringLiteral("topic/x:notes")}), std::string("a\nmine\nc"));
    }

    void isMeantSo()
    {
        start({{"notes", "a\nb\nc\n"}}, {{"notes", "a\ntheirs\nc\n"}}, {{"notes", "a\nmine\nc\n"}});
        type(0, QStringLiteral("=======\nx\n======="));
        QVERIFY(bar(m_page.get())->line().endsWith(QStringLiteral("(line 2 of notes). One of 2.")));
        // Which of two that read the same: the one that was gone to.
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QCOMPARE(lineOfCursor(), 4);
        button(m_page.get(), "leaveRemark")->click();
        QVERIFY(bar(m_page.get())->line().endsWith(QStringLiteral("(line 2 of notes).")));
        QVERIFY(bar(m_dryRun.get())->line().endsWith(QStringLiteral("(line 2 of notes).")));
        QVERIFY(!m_open.flow->canApply());
        // It stays answered while other lines are typed, wherever it is by then.
        QTextCursor cursor = middle()->textCursor();
        cursor.movePosition(QTextCursor::Start);
        cursor.insertText(QStringLiteral("top\n"));
        editor()->flush();
        caughtUp();
        QVERIFY(bar(m_dryRun.get())->line().endsWith(QStringLiteral("(line 3 of notes).")));
        button(m_dryRun.get(), "leaveRemarks")->click();
        QVERIFY(!bar(m_page.get())->isVisible() && !bar(m_dryRun.get())->isVisible());
        QVERIFY(button(m_dryRun.get(), "apply")->isEnabled());
        test::applyAnnounced(*m_repo, *m_open.flow, topic);
        QCOMPARE(m_repo->git({QStringLiteral("show"), QStringLiteral("topic/x:notes")}),
                 std::string("top\na\n=======\nx\n=======\nc"));
    }

    // Two objects' lines that each side ends without a comma: every choice is decided, one of them does not read.
    void aFileThatNoLongerReads()
    {
        start({{"a.json", object("  \"m\": 0,\n")}}, {{"a.json", object("  \"m\": 1,\n")}},
              {{"a.json", object("  \"m\": {\"x\": 2,\n  \"y\": 3},\n")}});
        editor()->decide(Choice::NewBaseFirst);
        caughtUp();
        QVERIFY(!bar(m_page.get())->isVisible());
        type(0, QStringLiteral("  \"oops\" 1,"));
        QVERIFY2(bar(m_page.get())
                     ->line()
                     .startsWith(QStringLiteral("Before this is applied: it can no longer be read as JSON: ")),
                 qPrintable(bar(m_page.get())->line()));
        QVERIFY(!m_open.flow->canApply());
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        caughtUp();
        QVERIFY(m_open.flow->canApply());
    }

    // In another commit of the replay than the one that is looked at.
    void isGoneToInAnotherCommit()
    {
        start({{"one", "a\n"}, {"two", "a\n"}}, {{"one", "theirs\n"}, {"two", "theirs\n"}}, {{"one", "mine\n"}},
              {{"two", "mine\n"}});
        type(0, QStringLiteral("x\n>>>>>>> theirs"));
        QCOMPARE(m_open.flow->remarks().size(), 1u); // said at once, though more is undecided
        QVERIFY(bar(m_page.get())->isVisible());
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QTRY_COMPARE_WITH_TIMEOUT(editor()->model().text().path, std::string("two"), patience);
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        caughtUp();
        QVERIFY(list()->commitItem(0)->text(1).contains(QStringLiteral("1 to look at")));
        QVERIFY(list()->commitItem(0)->child(0)->text(1).contains(QStringLiteral("1 to look at")));
        QTRY_VERIFY_WITH_TIMEOUT(button(m_page.get(), "lookAtRemark")->isVisible(), patience);
        QTest::mouseClick(button(m_page.get(), "lookAtRemark"), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(editor()->model().text().path, std::string("one"), patience);
        QTRY_COMPARE_WITH_TIMEOUT(lineOfCursor(), 2, patience);
    }

    void theAttributeCounts()
    {
        start({{"notes", "a\nb\nc\n"}, {".gitattributes", "notes conflict-marker-size=12\n"}},
              {{"notes", "a\ntheirs\nc\n"}}, {{"notes", "a\nmine\nc\n"}});
        type(0, QStringLiteral("<<<<<<< x\n<<<<<<<<<<<< y"));
        QVERIFY2(bar(m_page.get())->line().endsWith(QStringLiteral("(line 3 of notes).")),
                 qPrintable(bar(m_page.get())->line()));
    }

    void readable_data()
    {
        QTest::addColumn<QByteArray>("ancestor");
        QTest::addColumn<QByteArray>("newBase");
        QTest::addColumn<QByteArray>("commit");
        QTest::addColumn<QByteArray>("settled");
        QTest::addColumn<QString>("begins");
        const QByteArray json = "{\"a\": 1}\n", xml = "<?xml version=\"1.0\"?>\n<a>\n <b/>\n</a>\n";
        const auto add = [](const char* name, const QByteArray& a, const QByteArray& n, const QByteArray& c,
                            const QByteArray& settled, const char* begins) {
            QTest::newRow(name) << a << n << c << settled << QString::fromUtf8(begins);
        };
        add("well", json, json, json, "{\"a\": 2}\n", "");
        add("a comma too many", json, json, json, "{\n\"a\": 2,\n}\n", "3: it can no longer be read as JSON: ");
        add("no end", json, json, json, "{\n\"a\": 2\n", "2: it can no longer be read as JSON: ");
        add("nothing left", json, json, json, "", "1: it can no longer be read as JSON: ");
        add("a side did not read either", json, "{\"a\": 1,}\n", json, "{,}\n", "");
        add("the ancestor did not", "{,}\n", json, json, "{,}\n", "");
        add("other texts", "[section]\nx = 1\n", "[section]\nx = 2\n", "[section]\nx = 3\n", "[section]\nx = 4\n", "");
        add("a list", "[]\n", "[1]\n", "[2]\n", "[1,\n2\n3]\n", "3: it can no longer be read as JSON: ");
        add("well-formed", xml, xml, xml, "<a><b/><c/></a>\n", "");
        add("not closed", xml, xml, xml, "<a>\n<b>\n</a>\n", "3: it can no longer be read as XML: ");
        add("one kind each", xml, json, xml, "<a>", "");
        add("entities that grow", xml, xml, xml,
            "<!DOCTYPE a [<!ENTITY x "
            "\"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\">"
            "<!ENTITY y \"&x;&x;&x;&x;&x;&x;&x;&x;&x;&x;\"><!ENTITY z \"&y;&y;&y;&y;&y;&y;&y;&y;&y;&y;\">"
            "]>\n<a>&z;</a>\n",
            "2: it can no longer be read as XML: ");
        QByteArray deep;
        for (int i = 0; i < 100000; ++i)
            deep += "<a>";
        add("very deep", xml, xml, xml, deep, "1: it can no longer be read as XML: ");
        add("very deep JSON", json, json, json, QByteArray(100000, '['), "1: it can no longer be read as JSON: ");
    }
    void readable()
    {
        QFETCH(QByteArray, ancestor);
        QFETCH(QByteArray, newBase);
        QFETCH(QByteArray, commit);
        QFETCH(QByteArray, settled);
        QFETCH(QString, begins);
        const std::string a = ancestor.toStdString(), n = newBase.toStdString(), c = commit.toStdString(),
                          s = settled.toStdString();
        const auto found = words(unreadableRemarks({a, n, c, s}));
        QCOMPARE(found.size(), begins.isEmpty() ? 0u : 1u);
        if (!begins.isEmpty())
            QVERIFY2(QString::fromStdString(found[0]).startsWith(begins), found[0].c_str());
    }
};

QTEST_MAIN(TestSettleRemarks)
#include "test_settle_remarks.moc"
