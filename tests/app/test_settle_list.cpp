// SPDX-License-Identifier: MIT
// The whole replay as one list in the settle page: its commits, files and hunks, found by words and by what is undecided; the way
// to another commit and back; and what an earlier decision, made anew, leaves of the later ones.
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "tests/support/settling.h"
#include "tests/support/temp_repository.h"

#include <QCheckBox>
#include <QLineEdit>
#include <QPushButton>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 20000;

std::string text(const std::string& top, const std::string& bottom)
{
    std::string all = top + "\n";
    for (int i = 0; i < 20; ++i)
        all += "line " + std::to_string(i) + "\n";
    return all + bottom + "\n";
}

// Rows of the list that are not hidden, an indent a level.
void addRows(const QTreeWidgetItem* item, const QString& indent, QStringList& rows)
{
    for (int i = 0; i < item->childCount(); ++i) {
        const QTreeWidgetItem* child = item->child(i);
        if (child->isHidden())
            continue;
        rows << indent + child->text(0) +
                    (child->text(1).isEmpty() ? QString() : QStringLiteral(" | ") + child->text(1));
        addRows(child, indent + QLatin1Char(' '), rows);
    }
}

} // namespace

class TestSettleList : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;

    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    HunkList* list() const { return m_page->findChild<HunkList*>(); }
    NoticeBar* notice() const { return m_page->findChild<NoticeBar*>(); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    QStringList rows() const
    {
        QStringList all;
        addRows(list()->invisibleRootItem(), {}, all);
        return all;
    }
    std::string subject() const { return editor()->model().text().yourSubject; }

  private Q_SLOTS:
    void init()
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto base = m_repo->commitFiles({{"notes", text("top", "bottom")}, {"other", "o\n"}}, "Base", {}, "main");
        const auto one = m_repo->commitFiles({{"notes", text("top one", "bottom")}}, "First", {base}, "topic/x");
        const auto two = m_repo->commitFiles({{"new", "new\n"}}, "Between", {one}, "topic/x");
        m_repo->commitFiles({{"notes", text("top two", "bottom two")}, {"other", "mine\n"}}, "Last", {two}, "topic/x");
        m_repo->commitFiles({{"notes", text("TOP", "BOTTOM")}, {"other", "theirs\n"}}, "Upstream", {base}, "main");
        test::openTopic(*m_repo, "refs/heads/topic/x", m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        QVERIFY(test::beginSettling(*m_page, m_open));
        QTRY_VERIFY_WITH_TIMEOUT(button("new-base")->isEnabled(), patience);
    }
    void cleanup()
    {
        m_page.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }

    void holdsTheWholeReplay()
    {
        QCOMPARE(rows(), (QStringList{"1: First | ○ 1 undecided", " notes", "  line 1 | ○ undecided",
                                      "3: Last | ○ 2 undecided", " notes | ○ 1 undecided", "  line 22 | ○ undecided",
                                      " other | ○ 1 undecided", "  line 1 | ○ undecided"}));
        // What is open below is held as the commit has it: its other hunk meets only the decision.
        QTest::keyClick(m_page.get(), Qt::Key_3, Qt::AltModifier);
        caughtUp();
        QCOMPARE(rows().first(2), (QStringList{"1: First | ● all 1", " notes"}));
        QVERIFY2(rows()[2].startsWith(QStringLiteral("  line 1 | ● new base, then yours")), qPrintable(rows()[2]));
        QCOMPARE(rows()[3], QStringLiteral("3: Last | ○ 3 undecided"));
        // To the other commit by key: its row, and from there to its first file.
        list()->setFocus();
        QTest::keyClick(list(), Qt::Key_Down);
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("Last"), patience);
        QVERIFY(list()->currentItem() == list()->fileItem(0)->child(0)); // the first that is undecided
        QVERIFY(rows().contains(QStringLiteral("1: First | ● all 1")));
        // And to a hunk of a file at once, back in the first.
        list()->setCurrentItem(list()->commitItem(0)->child(0)->child(0));
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("First"), patience);
        list()->setCurrentItem(list()->commitItem(2)->child(1)->child(0));
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("Last"), patience);
        QCOMPARE(editor()->model().text().path, std::string("other"));
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        caughtUp();
        QVERIFY(rows().contains(QStringLiteral("3: Last | ○ 2 undecided")));
    }

    void isFiltered()
    {
        auto* search = m_page->findChild<QLineEdit*>(QStringLiteral("search"));
        auto* only = m_page->findChild<QCheckBox*>(QStringLiteral("undecidedOnly"));
        QTest::keyClick(m_page.get(), Qt::Key_S, Qt::AltModifier);
        QVERIFY(search->hasFocus());
        QTest::keyClicks(search, QStringLiteral("OTH"));
        QCOMPARE(rows(),
                 (QStringList{"1: First | ○ 1 undecided", " notes", "  line 1 | ○ undecided", // the user is there
                              "3: Last | ○ 2 undecided", " other | ○ 1 undecided", "  line 1 | ○ undecided"}));
        search->clear();
        QTest::keyClicks(search, QStringLiteral("last"));
        QCOMPARE(rows().size(), 8);
        search->clear();
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("Last"), patience);
        only->click();
        QCOMPARE(rows(), (QStringList{"3: Last | ○ 2 undecided", " notes", "  line 22 | ○ undecided", " other",
                                      "  line 1 | ○ undecided"}));
        only->click();
        QCOMPARE(rows().size(), 8);
        // Return leads from the field to the list.
        QTest::keyClick(m_page.get(), Qt::Key_S, Qt::AltModifier);
        QTest::keyClick(search, Qt::Key_Return);
        QVERIFY(list()->hasFocus());
    }

    void goesBackAndSaysWhatHoldsNoLonger()
    {
        QTest::keyClick(m_page.get(), Qt::Key_3, Qt::AltModifier); // TOP, top one
        caughtUp();
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("Last"), patience);
        for (int i = 0; i < 3; ++i) {
            QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
            caughtUp();
            QTest::keyClick(m_page.get(), Qt::Key_F8);
        }
        caughtUp();
        QVERIFY(m_open.flow->run()->clean);
        list()->setCurrentItem(list()->commitItem(0)->child(0)->child(0));
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("First"), patience);
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier); // TOP alone
        caughtUp();
        QCOMPARE(m_open.flow->run()->undecided(), std::size_t(1));
        QCOMPARE(subject(), std::string("First")); // where the user is
        QCOMPARE(rows()[3], QStringLiteral("3: Last | ↻ look again"));
        QCOMPARE(notice()->line(),
                 QStringLiteral("Later commits were computed again: 1 hunk has to be looked at again, first in "
                                "notes of “Last”; 2 decisions hold there."));
        const auto buttons = notice()->findChildren<QPushButton*>();
        const auto at = std::ranges::find(buttons, QStringLiteral("&Look there"), &QPushButton::text);
        QVERIFY(at != buttons.end());
        QPushButton* there = *at;
        QTRY_VERIFY_WITH_TIMEOUT(there->isVisible(), patience);
        QTest::mouseClick(there, Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(subject(), std::string("Last"), patience);
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        QVERIFY(m_open.flow->run()->clean);
        test::applyAnnounced(*m_repo, *m_open.flow, "refs/heads/topic/x");
        QCOMPARE(m_repo->git({"show", "topic/x:notes"}) + "\n", text("top two", "bottom two"));
        QCOMPARE(m_repo->git({"show", "topic/x~2:notes"}) + "\n", text("TOP", "BOTTOM"));
    }
};

QTEST_MAIN(TestSettleList)
#include "test_settle_list.moc"
