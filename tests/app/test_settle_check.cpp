// SPDX-License-Identifier: MIT
// A command of the user's on the settled commit: on the very tree, in a folder of its own that is gone afterwards, never
// unasked, never out of the repository; its ending told as it was.
#include "app/settle/check_drawer.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "core/keep/temporary_checkout.h"
#include "tests/support/settling.h"
#include "tests/support/temp_repository.h"

#include <QLineEdit>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QSettings>
#include <QToolButton>
#include <QtTest>

#include <csignal>

using namespace espalier;
using test::Files;

namespace {

constexpr int patience = 20000;

} // namespace

class TestSettleCheck : public QObject {
    Q_OBJECT

    QTemporaryDir m_temporary; // where this test's programs put what is temporary
    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;

    CheckDrawer* drawer() const { return m_page->findChild<CheckDrawer*>(); }
    QLineEdit* command() const { return m_page->findChild<QLineEdit*>(QStringLiteral("checkCommand")); }
    QPushButton* run() const { return m_page->findChild<QPushButton*>(QStringLiteral("runCheck")); }
    QString state() const { return m_page->findChild<PlainLabel*>(QStringLiteral("checkState"))->fullText(); }
    QString output() const { return m_page->findChild<QPlainTextEdit*>(QStringLiteral("checkOutput"))->toPlainText(); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    QStringList left() const
    {
        return QDir(m_temporary.path())
            .entryList({QStringLiteral("espalier-check-*")}, QDir::AllEntries | QDir::Hidden);
    }

    void start(const Files& base, const Files& newBase, const Files& mine)
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto first = m_repo->commitFiles(base, "Base", {}, "main");
        m_repo->commitFiles(mine, "Mine", {first}, "topic/x");
        m_repo->commitFiles(newBase, "Upstream", {first}, "main");
        open();
    }
    void open()
    {
        test::openTopic(*m_repo, "refs/heads/topic/x", m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        QVERIFY(test::beginSettling(*m_page, m_open));
        QTRY_VERIFY_WITH_TIMEOUT(m_page->findChild<HunkList*>()->fileCount() > 0, patience);
    }
    void close()
    {
        m_page.reset();
        m_open.flow.reset();
        m_open.session.reset();
    }
    void settle()
    {
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
    }
    void check(const QString& line)
    {
        command()->setText(line);
        QTest::keyClick(command(), Qt::Key_Return);
        QVERIFY(drawer()->isRunning());
        QTRY_VERIFY_WITH_TIMEOUT(!drawer()->isRunning(), patience);
    }

  private Q_SLOTS:
    void initTestCase()
    {
        QVERIFY(m_temporary.isValid());
        qputenv("TMPDIR", m_temporary.path().toLocal8Bit());
        QSettings::setPath(QSettings::NativeFormat, QSettings::UserScope, m_temporary.path());
        QCoreApplication::setOrganizationName(QStringLiteral("espalier-test-check"));
        QCoreApplication::setApplicationName(QStringLiteral("espalier-test-check"));
    }
    void cleanup()
    {
        close();
        m_repo.reset();
        QSettings().clear();
    }

    void runsOnWhatWasSettled()
    {
        start({{"notes", "a\n"}, {"exe:run", "#!/bin/sh\necho \"$1 ran\"\n"}, {"sub/deep", "d\n"}},
              {{"notes", "theirs\n"}}, {{"notes", "mine\n"}});
        QTest::keyClick(m_page.get(), Qt::Key_0, Qt::AltModifier);
        QVERIFY(drawer()->isVisible() && command()->hasFocus());
        command()->setText(QStringLiteral("true"));
        QVERIFY(!run()->isEnabled()); // nothing is decided
        QTest::keyClick(command(), Qt::Key_Return);
        QVERIFY(!drawer()->isRunning());
        QTest::keyClick(m_page.get(), Qt::Key_3, Qt::AltModifier);
        caughtUp();
        QTRY_VERIFY_WITH_TIMEOUT(run()->isEnabled(), patience);
        QVERIFY(checkCommand(m_open.session->path()).isEmpty()); // what was not run is not kept
        // Somebody's repository above the folder is none of the command's.
        m_repo->git({QStringLiteral("init"), QStringLiteral("-q"), m_temporary.path()});
        const std::string before = m_repo->git({QStringLiteral("status"), QStringLiteral("--porcelain")});
        check(QStringLiteral("cat notes sub/deep; ./run it; echo to the other >&2; pwd; git rev-parse --git-dir; cat"));
        QCOMPARE(output().section(u'\n', 0, 4), QStringLiteral("theirs\nmine\nd\nit ran\nto the other"));
        QVERIFY(output().contains(m_temporary.path() + QStringLiteral("/espalier-check-")));
        QVERIFY(output().contains(QStringLiteral("not a git repository")));
        QCOMPARE(state(), QStringLiteral("“Mine”: It ended well (status 0)."));
        QCOMPARE(left(), QStringList());
        // Nothing has become of the repository.
        QCOMPARE(m_repo->git({QStringLiteral("status"), QStringLiteral("--porcelain")}), before);
        // Another decision: what was found is about what was.
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        QTRY_COMPARE_WITH_TIMEOUT(
            state(), QStringLiteral("“Mine”: It ended well (status 0). What is shown now was not checked."), patience);
        check(QStringLiteral("cat notes"));
        QCOMPARE(output(), QStringLiteral("mine\n"));
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        caughtUp();
        QTRY_VERIFY_WITH_TIMEOUT(!run()->isEnabled(), patience); // nothing is left of the commit
    }

    void endingsAreTold_data()
    {
        QTest::addColumn<QString>("line");
        QTest::addColumn<QString>("words");
        QTest::newRow("well") << "true" << "It ended well (status 0).";
        QTest::newRow("fails") << "echo no; exit 3" << "It failed (status 3).";
        QTest::newRow("no such program") << "no-such-program-here" << "It failed (status 127).";
        QTest::newRow("no command") << "if" << "It failed (status 2).";
        QTest::newRow("killed") << "kill -9 $$" << "It failed (status 137, as of signal 9).";
        QTest::newRow("folders that nobody may write to") << "mkdir -p a/b; touch a/b/c; chmod 0 a/b a"
                                                          << "It ended well (status 0).";
    }
    void endingsAreTold()
    {
        QFETCH(QString, line);
        QFETCH(QString, words);
        start({{"notes", "a\n"}}, {{"notes", "theirs\n"}}, {{"notes", "mine\n"}});
        drawer()->setOpen(true);
        settle();
        check(line);
        QCOMPARE(state(), QStringLiteral("“Mine”: ") + words);
        QCOMPARE(left(), QStringList());
    }

    // It and what it has started; the folder goes too.
    void isStopped()
    {
        start({{"notes", "a\n"}}, {{"notes", "theirs\n"}}, {{"notes", "mine\n"}});
        drawer()->setOpen(true);
        settle();
        command()->setText(QStringLiteral("sleep 1000 & echo child $!; wait; echo not reached"));
        QTest::mouseClick(run(), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(output().startsWith(QStringLiteral("child ")), patience); // as it comes
        const int child = output().section(u'\n', 0, 0).section(u' ', 1).toInt();
        QVERIFY(child > 0 && ::kill(child, 0) == 0);
        QCOMPARE(run()->text(), QStringLiteral("Stop"));
        QCOMPARE(left().size(), 1);
        QTest::mouseClick(run(), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(!drawer()->isRunning(), patience);
        QCOMPARE(state(), QStringLiteral("“Mine”: Stopped before its end; it says nothing about the commit."));
        QTRY_VERIFY_WITH_TIMEOUT(::kill(child, 0) != 0, patience);
        QCOMPARE(left(), QStringList());
        QVERIFY(!output().contains(QStringLiteral("not reached")));
        // The page goes while it runs.
        command()->setText(QStringLiteral("echo begun; sleep 1000"));
        QTest::mouseClick(run(), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(output().startsWith(QStringLiteral("begun")), patience);
        close();
        QTRY_COMPARE_WITH_TIMEOUT(left(), QStringList(), patience);
    }

    // Kept for this repository, in the user's settings; shown the next time, and not run.
    void isKeptAndNotRunUnasked()
    {
        const QString mark = m_temporary.filePath(QStringLiteral("mark"));
        start({{"notes", "a\n"}}, {{"notes", "theirs\n"}}, {{"notes", "mine\n"}});
        // What a repository says is run by nobody.
        m_repo->git({QStringLiteral("config"), QStringLiteral("espalier.check"), QStringLiteral("touch ") + mark});
        drawer()->setOpen(true);
        settle();
        QVERIFY(command()->text().isEmpty());
        const QString line = QStringLiteral("echo x >> '%1'").arg(mark);
        check(line);
        close();
        open();
        QCOMPARE(command()->text(), line);
        drawer()->setOpen(true);
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        QVERIFY(!drawer()->isRunning());
        QFile made(mark);
        QVERIFY(made.open(QIODevice::ReadOnly));
        QCOMPARE(made.readAll(), QByteArray("x\n"));
        QVERIFY(m_repo->git({QStringLiteral("config"), QStringLiteral("--list"), QStringLiteral("--local")})
                    .find(line.toStdString()) == std::string::npos);
    }

    // Bytes that are no text, half characters, and a great deal of them.
    void anyOutputIsShown()
    {
        start({{"notes", "a\n"}}, {{"notes", "theirs\n"}}, {{"notes", "mine\n"}});
        drawer()->setOpen(true);
        settle();
        check(QStringLiteral("printf 'h\\303'; sleep 0.2; printf '\\266r\\r\\n<b>\\033[31mred\\377'"));
        QCOMPARE(output(), QStringLiteral("hör\n<b>\\x1B[31mred\\xFF"));
        check(QStringLiteral("seq 1 2000000; echo last"));
        QVERIFY(output().endsWith(QStringLiteral("2000000\nlast\n")));
        QVERIFY(output().size() < 2'000'000);
        check(QStringLiteral("yes"));
        QVERIFY2(
            state().contains(QStringLiteral("It could not be run to its end: A program wrote more than it should")),
            qPrintable(state()));
        QCOMPARE(left(), QStringList());
    }

    void ofAWholePathToo()
    {
        start({{"notes", "a\n"}, {"gone", "g\n"}}, {{"gone", {}}}, {{"gone", "mine\n"}});
        QVERIFY(!m_page->findChild<QToolButton*>(QStringLiteral("commitsHandle"))->isVisible());
        drawer()->setOpen(true);
        settle();
        check(QStringLiteral("cat gone"));
        QCOMPARE(output(), QStringLiteral("mine\n"));
        drawer()->setOpen(false);
        QVERIFY(!drawer()->isVisible());
    }

    // The tree as a checkout has it: line ends by attributes, symlinks, submodules as empty folders; no path that leads out.
    void theFilesAreThose()
    {
        test::TempRepository repo;
        repo.commitFiles({{".gitattributes", "*.txt text eol=crlf\n"}, {"a.txt", "one\n"}, {"exe:b", "two\n"}}, "Base",
                         {}, "main");
        repo.git({QStringLiteral("checkout"), QStringLiteral("-q"), QStringLiteral("main")});
        const Oid tree = *Oid::parse(repo.git({QStringLiteral("rev-parse"), QStringLiteral("main^{tree}")}));
        std::string heard;
        const auto ended = runCheck({toBytes(repo.path()), nullptr, tree, "od -c a.txt | head -1; test -x b && cat b"},
                                    [&](std::string_view more) { heard += more; }, {});
        QVERIFY(ended && ended->exitCode == 0 && ended->left.empty());
        QVERIFY2(heard.contains("\\r  \\n") && heard.ends_with("two\n"), heard.c_str());
        const auto without =
            runCheck({toBytes(repo.path()), nullptr, *Oid::parse(std::string(40, '1')), "true"}, {}, {});
        QVERIFY(!without);
        std::stop_source stop;
        stop.request_stop();
        const auto stopped =
            runCheck({toBytes(repo.path()), nullptr, tree, "true"}, {}, Progress{stop.get_token(), {}});
        QVERIFY(!stopped && stopped.error().kind == ErrorKind::Cancelled);
        QCOMPARE(left(), QStringList());
    }
};

QTEST_MAIN(TestSettleCheck)
#include "test_settle_check.moc"
