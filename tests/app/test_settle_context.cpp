// SPDX-License-Identifier: MIT
// What the settle page tells about a hunk beside its two texts: the words that each side changed, the commits that changed the
// lines and what each changed in the file, what else explains the clash. All by keyboard.
#include "app/settle/commit_drawer.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "tests/support/temp_repository.h"
#include "tests/support/topic_plan.h"

#include <QPushButton>
#include <QTextBlock>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 20000;
using Pane = ConflictEditor::Pane;

std::string numbered(std::map<int, std::string> changed)
{
    std::string text;
    for (int i = 1; i <= 30; ++i)
        text += (changed.contains(i) ? changed[i] : "line " + std::to_string(i)) + "\n";
    return text;
}

} // namespace

class TestSettleContext : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;

    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    CommitDrawer* drawer() const { return m_page->findChild<CommitDrawer*>(); }
    QTreeWidget* commits() const { return m_page->findChild<QTreeWidget*>(QStringLiteral("hunkCommits")); }
    QStringList rows(int column) const
    {
        QStringList all;
        for (int i = 0; i < commits()->topLevelItemCount(); ++i)
            all << commits()->topLevelItem(i)->text(column);
        return all;
    }
    QString changeShown() const { return drawer()->findChild<TextPane*>()->toPlainText(); }

    // Whether this part of a row stands on the ground of changed words.
    static bool isMarked(TextPane* pane, int row, int from, int to, const QColor& tint, const QColor& line)
    {
        const QImage shown = pane->viewport()->grab().toImage();
        QTextCursor cursor(pane->document()->findBlockByNumber(row));
        cursor.setPosition(cursor.block().position() + from);
        const QRect left = pane->cursorRect(cursor);
        cursor.setPosition(cursor.position() + (to - from));
        const QRect right = pane->cursorRect(cursor);
        const QColor ground = theme::mixed(tint, line, 0.14);
        int of = 0, all = 0;
        for (int x = left.left() + 2; x < right.left() - 2; ++x, ++all)
            of += shown.pixelColor(x, left.top() + 3) == ground;
        return all > 0 && of * 2 > all;
    }

  private Q_SLOTS:
    void init()
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto base =
            m_repo->commitFiles({{"f", numbered({{5, "the tide is low"}})}, {"g", "x\n"}}, "Base", {}, "main");
        const auto one = m_repo->commitFiles({{"f", numbered({{5, "the tide is high"}})}}, "One", {base}, "main");
        m_repo->commitFiles({{"f", numbered({{5, "the tides is high"}})}, {"g", "y\n"}}, "Two", {one}, "main");
        m_repo->commitFiles({{"f", numbered({{5, "the  tide is low"}})}}, "Mine", {base}, "topic/x");
        test::openTopic(*m_repo, "refs/heads/topic/x", m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        m_page->resize(1300, 900);
        m_page->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_page.get()));
        m_open.flow->start(*m_open.plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_open.flow->run() && !m_open.flow->isBusy(), patience);
        m_page->begin();
        QTRY_VERIFY_WITH_TIMEOUT(editor()->currentHunk() == 0, patience);
    }
    void cleanup()
    {
        m_page.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }

    void wordsAreMarked()
    {
        const QPalette colours = editor()->palette();
        const auto onNewBase = [&](TextPane* pane, int row, int from, int to) {
            return isMarked(pane, row, from, to, theme::placeTint(Place::Upstream, colours),
                            theme::place(Place::Upstream, colours));
        };
        const auto onCommit = [&](TextPane* pane, int row, int from, int to) {
            return isMarked(pane, row, from, to, theme::placeTint(Place::Fork, colours),
                            theme::place(Place::Fork, colours));
        };
        TextPane *left = editor()->pane(Pane::NewBase), *right = editor()->pane(Pane::Commit);
        QVERIFY(onNewBase(left, 4, 4, 9));   // tides
        QVERIFY(onNewBase(left, 4, 13, 17)); // high
        QVERIFY(!onNewBase(left, 4, 0, 3));
        QVERIFY(!onNewBase(left, 4, 10, 12));
        QVERIFY(onCommit(right, 4, 3, 5)); // the two spaces
        QVERIFY(!onCommit(right, 4, 6, 15));
        // Both as changes, by one key: what was before each is a row of its own, with the words that are gone.
        QTest::keyClick(m_page.get(), Qt::Key_8, Qt::AltModifier);
        QCOMPARE(left->row(4).kind, ChangedLine::Removed);
        QCOMPARE(right->row(5).kind, ChangedLine::Added);
        QVERIFY(isMarked(left, 4, 12, 15, theme::dangerTint(colours), theme::danger(colours)));
        QVERIFY(isMarked(left, 5, 4, 9, theme::successTint(colours), theme::success(colours)));
        QTest::keyClick(m_page.get(), Qt::Key_8, Qt::AltModifier);
        QCOMPARE(left->row(4).kind, ChangedLine::Same);
        QVERIFY(onNewBase(left, 4, 4, 9));
    }

    void commitsAndTheirChanges()
    {
        QTRY_COMPARE_WITH_TIMEOUT(commits()->topLevelItemCount(), 3, patience);
        QVERIFY(!commits()->isVisible());
        QTest::keyClick(m_page.get(), Qt::Key_9, Qt::AltModifier);
        QVERIFY(commits()->isVisible() && commits()->hasFocus());
        const QStringList subjects = rows(0);
        QVERIFY(subjects[0].endsWith(QStringLiteral(" Two")) && subjects[1].endsWith(QStringLiteral(" One")) &&
                subjects[2].endsWith(QStringLiteral(" Mine")));
        const QString author = QString::fromStdString(m_repo->git({"log", "-1", "--format=%an", "main"}));
        QCOMPARE(rows(1), QStringList({author, author, author}));
        QCOMPARE(rows(2), QStringList({"new base", "new base", "your commit"}));
        QTRY_COMPARE_WITH_TIMEOUT(changeShown(),
                                  QStringLiteral("line 2\nline 3\nline 4\nthe tide is high\nthe tides is high\n"
                                                 "line 6\nline 7\nline 8"),
                                  patience);
        const QString words = drawer()->findChildren<PlainLabel*>().last()->fullText();
        QCOMPARE(words, QStringLiteral("In f; it changes 1 other file besides."));
        QTest::keyClick(commits(), Qt::Key_Down);
        QTRY_VERIFY_WITH_TIMEOUT(changeShown().contains(QStringLiteral("the tide is low\nthe tide is high")), patience);
        QTest::keyClick(commits(), Qt::Key_Down);
        QTRY_VERIFY_WITH_TIMEOUT(changeShown().contains(QStringLiteral("the  tide is low")), patience);
        QTest::keyClick(m_page.get(), Qt::Key_9, Qt::AltModifier);
        QVERIFY(!commits()->isVisible());
    }

    void whatExplainsIt()
    {
        const auto* besides = m_page->findChild<PlainLabel*>(QStringLiteral("besides"));
        QTRY_VERIFY_WITH_TIMEOUT(besides->isVisible(), patience);
        QCOMPARE(besides->fullText(), QStringLiteral("Your commit only changes the white space of these lines."));
    }
};

QTEST_MAIN(TestSettleContext)
#include "test_settle_context.moc"
