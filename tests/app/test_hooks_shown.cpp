// SPDX-License-Identifier: MIT
// A hook that runs after a change is seen in the window and can be stopped; what was done stays done, and what waits goes on.
#include "app/session/replay_flow.h"
#include "app/support/text.h"
#include "app/window/main_window.h"
#include "tests/support/replay_window.h"

#include <QPushButton>
#include <QStatusBar>
#include <QtTest>

using namespace espalier;
using test::TempRepository;

namespace {
constexpr int patience = 30000;
}

class TestHooksShown : public QObject {
    Q_OBJECT

    std::unique_ptr<TempRepository> m_repo;
    std::unique_ptr<MainWindow> m_window;

    void writeHook(const QString& name, const QByteArray& script) const
    {
        const QString path = m_repo->path() + QStringLiteral("/.git/hooks/") + name;
        QDir().mkpath(QFileInfo(path).path());
        QFile file(path);
        QVERIFY(file.open(QIODevice::WriteOnly) && file.write("#!/bin/sh\n" + script) > 0);
        QVERIFY(file.setPermissions(QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
    }
    QString statusLine() const
    {
        QStringList lines;
        for (const auto* label : m_window->statusBar()->findChildren<PlainLabel*>())
            if (label->isVisible())
                lines << label->fullText();
        return lines.join(u'\n');
    }
    QPushButton* stop() const { return m_window->findChild<QPushButton*>(QStringLiteral("stopWork")); }

    // topic/x is checked out and has a clean dry run onto main.
    void openReplay()
    {
        m_window = test::openReplay(*m_repo, "topic/x", "main");
        QVERIFY(m_window);
    }

  private Q_SLOTS:
    void init()
    {
        m_repo = std::make_unique<TempRepository>();
        test::setUpTopic(*m_repo, {{"file", "one\n"}}, {{"mine", "mine\n"}}, {{"other", "upstream\n"}});
    }
    void cleanup()
    {
        m_window.reset();
        m_repo.reset();
    }

    void aHangingHookIsShownAndStopped()
    {
        const QString began = m_repo->outside() + QStringLiteral("/began");
        writeHook(QStringLiteral("post-rewrite"),
                  "trap '' TERM\ntouch '" + began.toUtf8() + "'\nsleep 1000\nsleep 1000\n");
        openReplay();
        const std::string announced = m_window->flow()->run()->newTip->hex();
        QSignalSpy applied(m_window->flow(), &ReplayFlow::applied);
        m_window->flow()->apply();
        QTRY_VERIFY_WITH_TIMEOUT(QFile::exists(began), patience);
        // Done already, and seen to be, while the hook runs.
        QCOMPARE(m_repo->git({"rev-parse", "topic/x"}), announced);
        QTRY_COMPARE_WITH_TIMEOUT(m_window->session()->snapshot()->findRef("refs/heads/topic/x")->tip.hex(), announced,
                                  patience);
        QTRY_VERIFY_WITH_TIMEOUT(statusLine().contains(QStringLiteral("Running the hook post-rewrite…")), patience);
        // Other work that is shown and over does not take the line away.
        m_window->session()->refresh(true);
        QTRY_VERIFY_WITH_TIMEOUT(!m_window->session()->isLoading(), patience);
        QVERIFY(statusLine().contains(QStringLiteral("post-rewrite")));
        // What is asked for meanwhile waits, and goes on after the stop.
        m_window->session()->createBranch("later", m_window->session()->snapshot()->worktree.headTip, false);
        QTRY_VERIFY_WITH_TIMEOUT(statusLine().contains(QStringLiteral("1 more after it")), patience);
        QVERIFY(applied.isEmpty());
        QVERIFY(stop()->isVisible() && stop()->isEnabled());
        QCOMPARE(stop()->text().remove(u'&'), QStringLiteral("Stop"));
        QStringList said;
        connect(m_window->session(), &Session::said, this, [&](const QString& line) { said << line; });
        QTest::mouseClick(stop(), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(applied.size(), 1, patience);
        QTRY_VERIFY_WITH_TIMEOUT(!m_window->session()->isWriting(), patience);
        QCOMPARE(said.size(), 2);
        QVERIFY2(said[0].contains(QStringLiteral("It can be taken back from the logbook. The hook post-rewrite was "
                                                 "stopped; the change itself is done.")),
                 qPrintable(said[0]));
        QVERIFY2(said[1].contains(QStringLiteral("later")), qPrintable(said[1]));
        QCOMPARE(m_repo->git({"rev-parse", "topic/x"}), announced);
        QCOMPARE(m_repo->git({"rev-parse", "later"}), announced);
        QTRY_VERIFY_WITH_TIMEOUT(!stop()->isVisible(), patience);
    }

    // The line that says what was done says what the hook said too, and is what stays to be read.
    void aFailingHookIsReadBesideWhatWasDone()
    {
        writeHook(QStringLiteral("post-rewrite"), "echo 'no copy made' >&2\nexit 3\n");
        openReplay();
        QSignalSpy applied(m_window->flow(), &ReplayFlow::applied);
        m_window->flow()->apply();
        QTRY_COMPARE_WITH_TIMEOUT(applied.size(), 1, patience);
        QVERIFY2(m_window->notice()->line().contains(
                     QStringLiteral("The hook post-rewrite failed with status 3: no copy made")),
                 qPrintable(m_window->notice()->line()));
        QVERIFY(m_window->notice()->line().startsWith(QStringLiteral("Done: ")));
    }
};

QTEST_MAIN(TestHooksShown)
#include "test_hooks_shown.moc"
