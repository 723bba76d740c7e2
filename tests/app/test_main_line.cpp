// SPDX-License-Identifier: MIT
//
// The main line brought up to date from the places strip, and local changes in its way or in the way of a replay: what must
// move moves, what must stay stays, and what is refused is refused with the names of the files before anything has moved.
#include "app/dryrun/dry_run_page.h"
#include "app/session/replay_flow.h"
#include "app/support/text.h"
#include "app/window/places_strip.h"
#include "core/samples/samples.h"
#include "tests/support/keyboard.h"
#include "tests/support/temp_repository.h"
#include "tests/support/whole_job.h"

#include <QAbstractButton>
#include <QDialog>
#include <QLineEdit>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

// The sample moved-upstream, fetched: the clone has topic/csv-export checked out, and its main line is three commits behind.
class Scene {
  public:
    Scene() : m_sample(buildSample("moved-upstream", (m_folder.path() + QStringLiteral("/s")).toStdString()).value())
    {
        git({"fetch", "-q", "upstream"});
    }

    QByteArray git(const QStringList& arguments) const { return gitIn(m_sample.clone, arguments); }
    QByteArray tip(const std::filesystem::path& place, const char* name) const
    {
        return gitIn(place, {"rev-parse", QString::fromLatin1(name)});
    }
    // As it is in the worktree; null when it is not there.
    QByteArray read(const char* path) const
    {
        QFile file(QString::fromStdString((m_sample.clone / path).string()));
        return file.open(QIODevice::ReadOnly) ? file.readAll() : QByteArray();
    }
    void write(const char* path, const QByteArray& bytes) const
    {
        QFile file(QString::fromStdString((m_sample.clone / path).string()));
        QVERIFY(file.open(QIODevice::WriteOnly));
        file.write(bytes);
    }
    // Everything a user's editor sees, and what git would say about it.
    std::map<std::string, std::string> worktree() const
    {
        auto files = folderState(m_sample.clone);
        std::erase_if(files, [](const auto& file) {
            return file.first.starts_with(".git") && file.first != ".git/index" && file.first != ".git/HEAD";
        });
        return files;
    }
    // The window, with the drift counted, and the line that the notice bar ends with.
    bool open()
    {
        QSignalSpy drift(window.session(), &Session::driftChanged);
        window.openRepository(QString::fromStdString(m_sample.clone.string()));
        return showActive(&window) && waitFor([&] { return !drift.isEmpty() && !window.session()->isLoading(); });
    }
    QString bringUpToDate()
    {
        QSignalSpy said(window.session(), &Session::said), failed(window.session(), &Session::failed);
        if (!clickButton(window.places(), QStringLiteral("Bring up to date")) ||
            !waitFor([&] { return !(said.isEmpty() && failed.isEmpty()); }) ||
            !waitFor([&] { return !window.session()->isLoading() && window.session()->drift(); }))
            return QStringLiteral("nothing came about");
        return window.notice()->line();
    }
    const Sample& sample() const { return m_sample; }
    MainWindow window;

  private:
    static QByteArray gitIn(const std::filesystem::path& place, const QStringList& arguments)
    {
        const GitRun run = runProgram("git", arguments, QString::fromStdString(place.string()));
        return run.exitCode == 0 ? run.out.trimmed() : "failed: " + run.err;
    }

    QTemporaryDir m_folder;
    Sample m_sample;
};

} // namespace

class TestMainLine : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void behindAndNotCheckedOut();
    void checkedOutWithOtherChanges();
    void checkedOutWithChangesInTheWay();
    void ownCommitsAreMovedToATopic();
    void localChangesStopApply();
    void otherLocalChangesSurviveApply();
};

void TestMainLine::behindAndNotCheckedOut()
{
    Scene scene;
    scene.write("docs/units.md", "changed, not committed\n");
    scene.write("notes.txt", "not in git\n");
    QVERIFY(scene.open());
    const auto before = scene.worktree();
    const QString line = scene.bringUpToDate();
    const QString moved = QString::fromLatin1(scene.tip(scene.sample().upstream, "main").left(7));
    QCOMPARE(line, QStringLiteral("main moved up to %1 · main was pushed to origin").arg(moved));
    QCOMPARE(scene.tip(scene.sample().clone, "main"), scene.tip(scene.sample().upstream, "main"));
    QCOMPARE(scene.tip(scene.sample().fork, "main"), scene.tip(scene.sample().upstream, "main"));
    QCOMPARE(scene.worktree(), before);
    // The strip sees it as well.
    QTRY_VERIFY(scene.window.places()->standing(Place::Clone).contains(QStringLiteral("level with upstream")));
}

void TestMainLine::checkedOutWithOtherChanges()
{
    Scene scene;
    scene.git({"checkout", "-q", "main"});
    scene.write("CHANGES.md", "changed, not committed\n");
    QVERIFY(scene.open());
    const QString line = scene.bringUpToDate();
    QVERIFY2(line.contains(QStringLiteral("main moved up to")), qPrintable(line));
    QCOMPARE(scene.tip(scene.sample().clone, "main"), scene.tip(scene.sample().upstream, "main"));
    QCOMPARE(scene.read("CHANGES.md"), QByteArray("changed, not committed\n"));
    QVERIFY(scene.read("core/stations.cpp").contains("stationNames"));
    QCOMPARE(scene.git({"status", "--porcelain"}), QByteArray("M CHANGES.md"));
}

void TestMainLine::checkedOutWithChangesInTheWay()
{
    Scene scene;
    scene.git({"checkout", "-q", "main"});
    scene.write("docs/units.md", "changed, not committed\n");
    scene.write("core/stations.cpp", "not in git\n");
    QVERIFY(scene.open());
    const QByteArray main = scene.tip(scene.sample().clone, "main");
    const auto isRefused = [&](const char* file) {
        const auto before = scene.worktree();
        const QString line = scene.bringUpToDate();
        QVERIFY2(line.contains(QString::fromLatin1(file)) && !line.contains(QLatin1Char('\n')), qPrintable(line));
        QCOMPARE(scene.tip(scene.sample().clone, "main"), main);
        QCOMPARE(scene.worktree(), before);
    };
    isRefused("docs/units.md");
    // That one out of the way, the file that git does not know is named.
    scene.git({"checkout", "-q", "docs/units.md"});
    isRefused("core/stations.cpp");
}

void TestMainLine::ownCommitsAreMovedToATopic()
{
    Scene scene;
    scene.git({"checkout", "-q", "main"});
    scene.write("CHANGES.md", "written on the main line by mistake\n");
    scene.git({"commit", "-qam", "Say something on the main line"});
    const QByteArray own = scene.tip(scene.sample().clone, "main");
    QVERIFY(scene.open());
    const auto before = scene.worktree();
    QString line = scene.bringUpToDate();
    QVERIFY2(line.contains(QStringLiteral("1 commit of its own")), qPrintable(line));
    QCOMPARE(scene.tip(scene.sample().clone, "main"), own);
    QCOMPARE(scene.worktree(), before);
    QAbstractButton* offer = findButton(scene.window.notice(), QStringLiteral("Move them to a topic branch…"));
    QVERIFY(offer);
    QSignalSpy said(scene.window.session(), &Session::said);
    QVERIFY(withDialog([&] { QTest::mouseClick(offer, Qt::LeftButton); },
                       [](QDialog* dialog) {
                           auto* name = dialog->findChild<QLineEdit*>();
                           QCOMPARE(name->text(), QStringLiteral("topic/"));
                           QVERIFY(name->hasFocus());
                           press(Qt::Key_End);
                           type(QStringLiteral("by-mistake"));
                           press(Qt::Key_Return);
                       }));
    QVERIFY2(waitFor([&] { return !said.isEmpty(); }, 10000), qPrintable(scene.window.notice()->line()));
    QCOMPARE(scene.tip(scene.sample().clone, "main"), scene.tip(scene.sample().upstream, "main"));
    QCOMPARE(scene.tip(scene.sample().clone, "topic/by-mistake"), own);
    // Who was at work on those commits still is, and no file has changed.
    QCOMPARE(scene.git({"symbolic-ref", "HEAD"}), QByteArray("refs/heads/topic/by-mistake"));
    QCOMPARE(scene.git({"status", "--porcelain"}), QByteArray());
    QCOMPARE(scene.read("CHANGES.md"), QByteArray("written on the main line by mistake\n"));
    // Now it goes through.
    QTRY_VERIFY_WITH_TIMEOUT(!scene.window.session()->isLoading() && scene.window.session()->drift(), 30000);
    line = scene.bringUpToDate();
    QCOMPARE(scene.tip(scene.sample().fork, "main"), scene.tip(scene.sample().upstream, "main"));
}

namespace {

// The topic replayed onto upstream's main line; ends with Apply pressed and answered.
QString applyIn(Scene& scene)
{
    Session* session = scene.window.session();
    const SnapshotPtr snapshot = session->snapshot();
    const Ref* topic = snapshot->findRef("refs/heads/topic/csv-export");
    const Ref* main = snapshot->mainLineRef();
    scene.window.startReplay({topic->name, {}, topic->tip, true, QStringLiteral("topic/csv-export")},
                             {main->tip, main->name, QStringLiteral("upstream/main")});
    QSignalSpy failed(scene.window.flow(), &ReplayFlow::failed), applied(scene.window.flow(), &ReplayFlow::applied);
    if (!waitFor([&] { return findButton(scene.window.dryRunPage(), QStringLiteral("apply")) != nullptr; }) ||
        !clickButton(scene.window.dryRunPage(), QStringLiteral("apply")) ||
        !waitFor([&] { return !(failed.isEmpty() && applied.isEmpty()); }) ||
        !waitFor([&] { return !session->isLoading(); }))
        return QStringLiteral("nothing came about");
    // A failure is said where Apply was pressed, what was done by the window.
    return failed.isEmpty() ? scene.window.notice()->line()
                            : scene.window.dryRunPage()->findChild<NoticeBar*>()->line();
}

} // namespace

void TestMainLine::localChangesStopApply()
{
    Scene scene;
    scene.write("docs/units.md", "changed, not committed\n");
    scene.write("core/stations.cpp", "not in git\n");
    QVERIFY(scene.open());
    const auto before = scene.worktree();
    const QByteArray tip = scene.tip(scene.sample().clone, "topic/csv-export");
    const QString line = applyIn(scene);
    QVERIFY2(line.contains(QStringLiteral("docs/units.md")) && !line.contains(QLatin1Char('\n')), qPrintable(line));
    QCOMPARE(scene.tip(scene.sample().clone, "topic/csv-export"), tip);
    QCOMPARE(scene.worktree(), before);
    QCOMPARE(scene.git({"for-each-ref", "refs/espalier"}), QByteArray());
    // The dry run is still there, to be applied when the file is out of the way.
    QVERIFY(scene.window.flow()->isActive() && scene.window.dryRunPage()->isVisible());
}

void TestMainLine::otherLocalChangesSurviveApply()
{
    Scene scene;
    scene.write("CHANGES.md", "changed, not committed\n");
    scene.write("notes.txt", "not in git\n");
    QVERIFY(scene.open());
    const QByteArray tip = scene.tip(scene.sample().clone, "topic/csv-export");
    const QString line = applyIn(scene);
    QVERIFY2(line.startsWith(QStringLiteral("Done")), qPrintable(line));
    QVERIFY(scene.tip(scene.sample().clone, "topic/csv-export") != tip);
    QCOMPARE(scene.tip(scene.sample().clone, "topic/csv-export~3"), scene.tip(scene.sample().upstream, "main"));
    QCOMPARE(scene.git({"status", "--porcelain"}), QByteArray("M CHANGES.md\n?? notes.txt"));
    QCOMPARE(scene.read("CHANGES.md"), QByteArray("changed, not committed\n"));
    QVERIFY(scene.read("core/stations.cpp").contains("stationNames"));
}

QTEST_MAIN(TestMainLine)
#include "test_main_line.moc"
