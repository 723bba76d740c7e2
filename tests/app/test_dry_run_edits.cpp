// SPDX-License-Identifier: MIT
// Every edit of a replay in the dry run page, by mouse and by keyboard, to the applied commits; git reads what was written.
#include "app/dryrun/dry_run_page.h"
#include "tests/support/temp_repository.h"
#include "tests/support/topic_plan.h"

#include <QCheckBox>
#include <QComboBox>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QToolButton>
#include <QTreeView>
#include <QtTest>

using namespace espalier;

namespace {
constexpr int patience = 20000;
constexpr char topic[] = "refs/heads/topic/x";
enum How { Mouse, Keyboard };
} // namespace

class TestDryRunEdits : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<DryRunPage> m_page;
    std::string m_base, m_main;
    How m_how = Mouse;

    template <typename T> T* child(const char* name) const { return m_page->findChild<T*>(QLatin1String(name)); }
    QTreeView* list() const { return child<QTreeView>("commits"); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy() && m_open.flow->run(), patience); }

    // base <- upstream; what `commits` makes on base is topic/x.
    void start(const std::function<void()>& commits)
    {
        m_repo = std::make_unique<test::TempRepository>();
        m_base = m_repo->commitFiles({{"base", "base\n"}}, "Base", {}, "main");
        commits();
        m_main = m_repo->commitFiles({{"upstream", "upstream\n"}}, "Upstream", {m_base}, "main");
        test::openTopic(*m_repo, topic, m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<DryRunPage>(m_open.session.get(), m_open.flow.get());
        m_page->resize(1200, 600);
        m_page->show();
        QVERIFY(QTest::qWaitForWindowActive(m_page.get()));
        m_open.flow->start(*m_open.plan);
        caughtUp();
    }
    // Three commits that do not meet.
    void startOnThree()
    {
        start([this] {
            const auto a = m_repo->commitFiles({{"a", "a\n"}}, "Add a\n\nBecause of a.\n", {m_base});
            const auto b = m_repo->commitFiles({{"b", "b\n"}}, "Add b\n\nBecause of b.\n", {a});
            m_repo->commitFiles({{"c", "c\n"}}, "Add c\n", {b}, "topic/x");
        });
    }
    void choose(int row)
    {
        const QModelIndex index = list()->model()->index(row, 1);
        if (m_how == Mouse) {
            list()->scrollTo(index);
            QTest::mouseClick(list()->viewport(), Qt::LeftButton, {}, list()->visualRect(index).center());
        } else {
            list()->setFocus();
            QTest::keyClick(list(), Qt::Key_Home);
            for (int i = 0; i < row; ++i)
                QTest::keyClick(list(), Qt::Key_Down);
        }
        QCOMPARE(list()->currentIndex().row(), row);
    }
    void press(QAbstractButton* button)
    {
        QVERIFY(button->isEnabled());
        if (m_how == Mouse) {
            QTest::mouseClick(button, Qt::LeftButton);
        } else {
            button->setFocus();
            QVERIFY(button->focusPolicy() & Qt::TabFocus);
            QTest::keyClick(button, Qt::Key_Space);
        }
    }
    void press(const char* name) { press(child<QAbstractButton>(name)); }
    void apply()
    {
        QSignalSpy applied(m_open.flow.get(), &ReplayFlow::applied);
        QSignalSpy failed(m_open.flow.get(), &ReplayFlow::failed);
        caughtUp();
        press("apply");
        QTRY_VERIFY_WITH_TIMEOUT(!applied.isEmpty() || !failed.isEmpty(), patience);
        QVERIFY2(failed.isEmpty(), failed.isEmpty() ? "" : qPrintable(failed.front().front().toString()));
        QVERIFY(
            m_repo->git({QStringLiteral("fsck"), QStringLiteral("--strict"), QStringLiteral("--no-dangling")}).empty());
    }
    std::string git(const QStringList& arguments) const { return m_repo->git(arguments); }
    // Subjects above the new base, oldest first, with commas between them.
    QString subjects(const QString& branch = QStringLiteral("topic/x")) const
    {
        return QString::fromStdString(git({QStringLiteral("log"), QStringLiteral("--reverse"),
                                           QStringLiteral("--format=%s"), QStringLiteral("main..") + branch}))
            .replace(u'\n', QStringLiteral(", "));
    }
    std::string message(const QString& of) const
    {
        return QByteArray::fromStdString(
                   git({QStringLiteral("log"), QStringLiteral("-1"), QStringLiteral("--format=%B"), of}))
            .trimmed()
            .toStdString();
    }
    QString files(const QString& of = QStringLiteral("topic/x")) const
    {
        return QString::fromStdString(git({QStringLiteral("ls-tree"), QStringLiteral("--name-only"), of}))
            .replace(u'\n', u' ');
    }
    void bothWays()
    {
        QTest::addColumn<int>("how");
        QTest::newRow("mouse") << int(Mouse);
        QTest::newRow("keyboard") << int(Keyboard);
    }

  private Q_SLOTS:
    // Escape leaves the page as Close does, but gives up no edit: those it leaves to the button.
    void escape()
    {
        m_how = Keyboard;
        startOnThree();
        choose(1);
        press(child<QToolButton>("leaveOut"));
        caughtUp();
        QSignalSpy closed(m_page.get(), &DryRunPage::closed);
        QTest::keyClick(list(), Qt::Key_Escape);
        QVERIFY(closed.isEmpty() && m_open.flow->isActive());
        press(child<QToolButton>("leaveOut")); // in again
        caughtUp();
        press(child<QToolButton>("reword"));
        auto* message = child<QPlainTextEdit>("message");
        QTRY_VERIFY_WITH_TIMEOUT(message->isVisible(), patience);
        QTest::keyClick(message, Qt::Key_Escape); // the message stays as it was
        QVERIFY(!message->isVisible() && closed.isEmpty());
        QTest::keyClick(list(), Qt::Key_Escape);
        QCOMPARE(closed.size(), 1);
        QVERIFY(!m_open.flow->isActive());
    }

    void init()
    {
        if (const auto* data = QTest::currentDataTag())
            m_how = qstrcmp(data, "mouse") == 0 ? Mouse : Keyboard;
    }
    void cleanup()
    {
        m_page.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }

    void order_data() { bothWays(); }
    void order()
    {
        startOnThree();
        choose(0);
        if (m_how == Mouse) {
            press("down");
            press("down"); // asked for before the dry run has caught up
        } else {
            QTest::keyClick(list(), Qt::Key_Down, Qt::AltModifier);
            QTest::keyClick(list(), Qt::Key_Down, Qt::AltModifier);
        }
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add b, Add c, Add a"));
        QCOMPARE(files(), QStringLiteral("a b base c upstream"));
    }

    void leaveOut_data() { bothWays(); }
    void leaveOut()
    {
        startOnThree();
        choose(1);
        m_how == Mouse ? press("leaveOut") : QTest::keyClick(list(), Qt::Key_Delete);
        caughtUp();
        QVERIFY(child<QToolButton>("leaveOut")->text().contains(QStringLiteral("again")));
        m_how == Mouse ? press("leaveOut") : QTest::keyClick(list(), Qt::Key_Delete); // and in again
        caughtUp();
        m_how == Mouse ? press("leaveOut") : QTest::keyClick(list(), Qt::Key_Delete);
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add a, Add c"));
        QCOMPARE(files(), QStringLiteral("a base c upstream"));
    }

    void foldWithMessage_data() { bothWays(); }
    void foldWithMessage()
    {
        startOnThree();
        choose(1);
        press("fold");
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add a, Add c"));
        const QString text = QString::fromStdString(message(QStringLiteral("topic/x~1")));
        QVERIFY2(text.startsWith(QStringLiteral("Add a\n\nBecause of a.")) &&
                     text.contains(QStringLiteral("Add b\n\nBecause of b.")),
                 qPrintable(text));
        QCOMPARE(files(QStringLiteral("topic/x~1")), QStringLiteral("a b base upstream"));
    }

    void foldWithoutMessage_data() { bothWays(); }
    void foldWithoutMessage()
    {
        startOnThree();
        choose(1);
        press("foldQuietly");
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add a, Add c"));
        QCOMPARE(message(QStringLiteral("topic/x~1")), std::string("Add a\n\nBecause of a."));
        QCOMPARE(files(QStringLiteral("topic/x~1")), QStringLiteral("a b base upstream"));
    }

    void reword_data() { bothWays(); }
    void reword()
    {
        startOnThree();
        choose(1);
        m_how == Mouse ? press("reword") : QTest::keyClick(list(), Qt::Key_F2);
        auto* text = child<QPlainTextEdit>("message");
        QTRY_VERIFY_WITH_TIMEOUT(text->isVisible(), patience);
        QCOMPARE(text->toPlainText(), QStringLiteral("Add b\n\nBecause of b.\n"));
        QTest::keyClick(text, Qt::Key_A, Qt::ControlModifier);
        QTest::keyClicks(text, QStringLiteral("Another <b>subject</b>"));
        press("useMessage");
        caughtUp();
        // And once more, from what was typed.
        choose(1);
        press("reword");
        QTRY_VERIFY_WITH_TIMEOUT(text->isVisible(), patience);
        QVERIFY(text->toPlainText().startsWith(QStringLiteral("Another")));
        press("keepMessage");
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add a, Another <b>subject</b>, Add c"));
        QCOMPARE(message(QStringLiteral("topic/x~1")), std::string("Another <b>subject</b>"));
        // Author and date stay.
        QCOMPARE(git({QStringLiteral("log"), QStringLiteral("-1"), QStringLiteral("--format=%an %at"),
                      QStringLiteral("topic/x~1")}),
                 git({QStringLiteral("log"), QStringLiteral("-1"), QStringLiteral("--format=%an %at"),
                      QStringLiteral("topic/x@{1}~1")}));
    }

    void gatherFixups_data() { bothWays(); }
    void gatherFixups()
    {
        start([this] {
            const auto a = m_repo->commitFiles({{"a", "a\n"}}, "Add a\n", {m_base});
            const auto b = m_repo->commitFiles({{"b", "b\n"}}, "Add b\n", {a});
            const auto f = m_repo->commitFiles({{"a", "a, better\n"}}, "fixup! Add a\n", {b});
            m_repo->commitFiles({{"b", "b, better\n"}}, "squash! Add b\n\nMore about b.\n", {f}, "topic/x");
        });
        press("gather");
        QTRY_VERIFY_WITH_TIMEOUT(m_open.flow->plan().commits[1].treatment != Treatment::Carry, patience);
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add a, Add b"));
        QCOMPARE(git({QStringLiteral("show"), QStringLiteral("topic/x~1:a")}), std::string("a, better"));
        QCOMPARE(git({QStringLiteral("show"), QStringLiteral("topic/x:b")}), std::string("b, better"));
        QVERIFY(message(QStringLiteral("topic/x")).find("More about b.") != std::string::npos);
        QCOMPARE(message(QStringLiteral("topic/x~1")), std::string("Add a"));
    }

    void merges_data() { bothWays(); }
    void merges()
    {
        start([this] {
            const auto a = m_repo->commitFiles({{"a", "a\n"}}, "Add a\n", {m_base});
            const auto side = m_repo->commitFiles({{"side", "side\n"}}, "Add side\n", {m_base});
            const auto merge = m_repo->commitFiles({{"side", "side\n"}}, "Merge side\n", {a, side});
            m_repo->commitFiles({{"c", "c\n"}}, "Add c\n", {merge}, "topic/x");
        });
        QCOMPARE(m_open.flow->run()->commits.size(), std::size_t(3)); // flattened at first
        auto* box = child<QComboBox>("merges");
        const auto pick = [&](int step) {
            if (m_how == Keyboard) {
                box->setFocus();
                QTest::keyClick(box, step > 0 ? Qt::Key_Down : Qt::Key_Up);
            } else {
                QTest::mouseClick(box, Qt::LeftButton);
                QAbstractItemView* popup = box->view();
                QTRY_VERIFY(popup->isVisible());
                // The list takes a press only a while after the click that opened it: what is in it is picked by key.
                QTest::keyClick(popup, step > 0 ? Qt::Key_Down : Qt::Key_Up);
                QTest::keyClick(popup, Qt::Key_Return);
            }
        };
        pick(1);
        QTRY_COMPARE_WITH_TIMEOUT(m_open.flow->plan().merges, MergeCommits::Keep, patience);
        caughtUp();
        if (m_how == Keyboard) { // there and back
            pick(-1);
            QTRY_COMPARE_WITH_TIMEOUT(m_open.flow->plan().merges, MergeCommits::Flatten, patience);
            caughtUp();
            pick(1);
            QTRY_COMPARE_WITH_TIMEOUT(m_open.flow->plan().merges, MergeCommits::Keep, patience);
        }
        apply();
        QCOMPARE(git({QStringLiteral("rev-list"), QStringLiteral("--count"), QStringLiteral("--merges"),
                      QStringLiteral("main..topic/x")}),
                 std::string("1"));
        QCOMPARE(git({QStringLiteral("log"), QStringLiteral("-1"), QStringLiteral("--format=%s"),
                      QStringLiteral("topic/x~1")}),
                 std::string("Merge side"));
        QCOMPARE(files(), QStringLiteral("a base c side upstream"));
    }

    void flattenedMerges()
    {
        start([this] {
            const auto a = m_repo->commitFiles({{"a", "a\n"}}, "Add a\n", {m_base});
            const auto side = m_repo->commitFiles({{"side", "side\n"}}, "Add side\n", {m_base});
            m_repo->commitFiles({{"side", "side\n"}}, "Merge side\n", {a, side}, "topic/x");
        });
        apply();
        QCOMPARE(git({QStringLiteral("rev-list"), QStringLiteral("--count"), QStringLiteral("--merges"),
                      QStringLiteral("main..topic/x")}),
                 std::string("0"));
        QCOMPARE(files(), QStringLiteral("a base side upstream"));
    }

    void stacked_data() { bothWays(); }
    void stacked()
    {
        std::string lower;
        start([&] {
            lower = m_repo->commitFiles({{"a", "a\n"}}, "Add a\n", {m_base}, "topic/lower");
            m_repo->commitFiles({{"b", "b\n"}}, "Add b\n", {lower}, "topic/x");
        });
        auto* carry = child<QCheckBox>("carryStacked");
        QVERIFY(carry->isVisible() && carry->isChecked());
        press(carry);
        caughtUp();
        QVERIFY(m_open.flow->plan().stacked.empty());
        press(carry);
        caughtUp();
        QCOMPARE(m_open.flow->plan().stacked.size(), std::size_t(1));
        apply();
        QCOMPARE(git({QStringLiteral("rev-parse"), QStringLiteral("topic/lower")}),
                 git({QStringLiteral("rev-parse"), QStringLiteral("topic/x~1")}));
        QCOMPARE(subjects(QStringLiteral("topic/lower")), QStringLiteral("Add a"));
    }

    void stackedStaysWhenNotCarried()
    {
        m_how = Keyboard;
        std::string lower;
        start([&] {
            lower = m_repo->commitFiles({{"a", "a\n"}}, "Add a\n", {m_base}, "topic/lower");
            m_repo->commitFiles({{"b", "b\n"}}, "Add b\n", {lower}, "topic/x");
        });
        press("carryStacked");
        apply();
        QCOMPARE(git({QStringLiteral("rev-parse"), QStringLiteral("topic/lower")}), lower);
        QCOMPARE(subjects(), QStringLiteral("Add a, Add b"));
    }

    // Edits on top of each other, each asked for before the dry run of the one before is there.
    void editsFollowEachOther()
    {
        m_how = Keyboard;
        startOnThree();
        choose(2);
        QTest::keyClick(list(), Qt::Key_Up, Qt::AltModifier); // a c b
        QTest::keyClick(list(), Qt::Key_Up, Qt::AltModifier); // c a b
        caughtUp();
        QCOMPARE(list()->currentIndex().row(), 0);
        choose(2);
        press("foldQuietly"); // b into a
        apply();
        QCOMPARE(subjects(), QStringLiteral("Add c, Add a"));
        QCOMPARE(files(QStringLiteral("topic/x~1")), QStringLiteral("base c upstream"));
        QCOMPARE(files(), QStringLiteral("a b base c upstream"));
    }
};

QTEST_MAIN(TestDryRunEdits)
#include "test_dry_run_edits.moc"
