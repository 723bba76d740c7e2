// SPDX-License-Identifier: MIT
// What is changed and not committed is read on the clone's card and at the branch that is checked out, as it happens.
#include "app/drift/drift_board.h"
#include "app/drift/drift_model.h"
#include "app/history/commit_panel.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/session/repository_watch.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/window/main_window.h"
#include "app/window/places_strip.h"
#include "tests/support/temp_repository.h"

#include <QAccessible>
#include <QListView>
#include <QPlainTextEdit>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;
using test::TempRepository;

namespace {
constexpr int patience = 30000;
}

class TestLocalChangesShown : public QObject {
    Q_OBJECT

    // On the card, and at the branch as a screen reader has it.
    static QString onCard(const MainWindow& window)
    {
        QStringList lines;
        for (const auto* label : window.places()->findChildren<PlainLabel*>())
            if (label->fullText().startsWith(QStringLiteral("on ")))
                lines << label->fullText();
        return lines.join(u'\n');
    }
    static QModelIndex topicRow(const MainWindow& window)
    {
        const auto* list = window.driftBoard()->findChild<QListView*>();
        for (int row = 0; row < list->model()->rowCount(); ++row)
            if (list->model()->index(row, 0).data().toString() == QStringLiteral("topic/x"))
                return list->model()->index(row, 0);
        return {};
    }
    static QString atBranch(const MainWindow& window)
    {
        return topicRow(window).data(Qt::AccessibleTextRole).toString();
    }

  private Q_SLOTS:
    void areReadAsTheyHappen()
    {
        TempRepository repo;
        const auto base = repo.commitFiles({{"deep/in/file", "one\n"}, {"other", "one\n"}}, "Base", {}, "main");
        repo.commitFiles({{"mine", "mine\n"}}, "Mine", {base}, "topic/x");
        repo.git({"symbolic-ref", "HEAD", "refs/heads/topic/x"});
        repo.git({"reset", "--hard", "--quiet"});
        MainWindow window;
        window.show();
        window.openRepository(repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(window.session()->localChanges() && window.session()->drift(), patience);
        QCOMPARE(onCard(window), QStringLiteral("on topic/x"));
        QVERIFY(!atBranch(window).contains(QStringLiteral("local changes")));
        const int height = window.driftBoard()->findChild<QListView*>()->visualRect(topicRow(window)).height();

        // Written in place, deep down: nothing in the git folder tells of it.
        repo.writeFile("deep/in/file", "two\n");
        QTRY_COMPARE_WITH_TIMEOUT(onCard(window), QStringLiteral("on topic/x · 1 changed"), patience);
        repo.git({"add", "deep/in/file"});
        repo.writeFile("deep/in/file", "three\n");
        repo.writeFile("deep/untracked", "new\n");
        QTRY_COMPARE_WITH_TIMEOUT(onCard(window), QStringLiteral("on topic/x · 1 changed, 1 staged, 1 untracked"),
                                  patience);
        QTRY_VERIFY_WITH_TIMEOUT(
            atBranch(window).contains(QStringLiteral("checked out, local changes: 1 changed, 1 staged, 1 untracked")),
            patience);
        QTRY_VERIFY_WITH_TIMEOUT(
            window.driftBoard()->findChild<QListView*>()->visualRect(topicRow(window)).height() > height, patience);

        repo.git({"reset", "--hard", "--quiet"});
        QFile::remove(repo.path() + QStringLiteral("/deep/untracked"));
        QTRY_COMPARE_WITH_TIMEOUT(onCard(window), QStringLiteral("on topic/x"), patience);
        QVERIFY(!atBranch(window).contains(QStringLiteral("local changes")));
    }

    // Above the commit that is checked out, with what is changed when it is chosen.
    void haveARowInThePicture()
    {
        TempRepository repo;
        const auto base = repo.commitFiles({{"file", "one\n"}, {"other", "one\n"}}, "Base", {}, "main");
        const auto mine = repo.commitFiles({{"mine", "mine\n"}}, "Mine", {base}, "topic/x");
        repo.commitFiles({{"mine", "more\n"}}, "On top", {mine}, "topic/y");
        repo.git({"symbolic-ref", "HEAD", "refs/heads/topic/x"});
        repo.git({"reset", "--hard", "--quiet"});
        MainWindow window;
        window.resize(1200, 800);
        window.show();
        window.openRepository(repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(window.session()->localChanges() && window.session()->drift(), patience);
        auto* list = window.graph()->findChild<GraphList*>();
        const auto rowOf = [&](const char* ref) {
            return int(*list->model()->lanes()->displayRowOf(window.session()->snapshot()->findRef(ref)->row));
        };
        const int head = rowOf("refs/heads/topic/x"), height = list->rectOf(0).height();
        QVERIFY(!list->hasLocalRow());
        QCOMPARE(list->rectOf(head).top() - list->rectOf(head - 1).top(), height);
        QAccessibleInterface* spoken = QAccessible::queryAccessibleInterface(list);
        QCOMPARE(spoken->childCount(), list->model()->rowCount());

        repo.writeFile("file", "two\n");
        repo.writeFile("new", "new\n");
        QTRY_VERIFY_WITH_TIMEOUT(list->hasLocalRow(), patience);
        QCOMPARE(list->rectOfLocalRow().bottom() + 1, list->rectOf(head).top());
        QCOMPARE(list->rectOfLocalRow().top(), list->rectOf(head - 1).bottom() + 1);
        QCOMPARE(list->displayAt(list->rectOfLocalRow().center()), -1);
        QTRY_COMPARE(list->localWords(), QStringLiteral("Local changes, not committed: 1 changed, 1 untracked"));
        // As it is read out.
        QCOMPARE(spoken->childCount(), list->model()->rowCount() + 1);
        QCOMPARE(spoken->child(head)->text(QAccessible::Name), list->localWords());
        QCOMPARE(spoken->indexOfChild(spoken->child(head)), head);
        QVERIFY(spoken->child(head + 1)->text(QAccessible::Name).contains(QStringLiteral("topic/x, checked out")));
        QVERIFY(spoken->child(head - 1)->text(QAccessible::Name).contains(QStringLiteral("topic/y")));

        // By key, from both sides.
        window.graph()->goTo(window.session()->snapshot()->findRef("refs/heads/topic/x")->row);
        list->setFocus();
        QTest::keyClick(list, Qt::Key_Up);
        QVERIFY(list->isOnLocalRow() && list->current() == -1);
        QVERIFY(spoken->child(head)->state().selected);
        auto* files = window.commitPanel()->findChild<QTreeWidget*>();
        auto* diff = window.commitPanel()->findChild<QPlainTextEdit*>(QStringLiteral("diff"));
        QVERIFY(diff);
        const auto listed = [&] {
            QStringList lines;
            for (int at = 0; at < files->topLevelItemCount(); ++at)
                lines << files->topLevelItem(at)->text(0) + QLatin1Char(' ') + files->topLevelItem(at)->text(1);
            return lines.join(QLatin1Char('\n'));
        };
        QTRY_COMPARE_WITH_TIMEOUT(listed(), QStringLiteral("file changed\nnew untracked"), patience);
        QTRY_VERIFY(diff->toPlainText().contains(QStringLiteral("two")));
        QTest::keyClick(list, Qt::Key_Up);
        QCOMPARE(list->current(), head - 1);
        QTest::keyClick(list, Qt::Key_Down);
        QVERIFY(list->isOnLocalRow());
        QTest::keyClick(list, Qt::Key_Down);
        QCOMPARE(list->current(), head);
        QTRY_VERIFY_WITH_TIMEOUT(listed() == QStringLiteral("mine added"), patience);

        // By a click; and what is saved meanwhile is seen, though as many files are changed as before.
        QTest::mouseClick(list->viewport(), Qt::LeftButton, {}, list->rectOfLocalRow().center());
        QVERIFY(list->isOnLocalRow());
        QTRY_COMPARE_WITH_TIMEOUT(listed(), QStringLiteral("file changed\nnew untracked"), patience);
        repo.writeFile("file", "two\nthree\n");
        QTRY_VERIFY_WITH_TIMEOUT(diff->toPlainText().contains(QStringLiteral("three")), patience);
        repo.git({"add", "file"});
        QTRY_COMPARE_WITH_TIMEOUT(listed(), QStringLiteral("file staged\nnew untracked"), patience);

        // With the last change it goes, and the commit that is checked out is what is chosen.
        repo.git({"reset", "--hard", "--quiet"});
        QFile::remove(repo.path() + QStringLiteral("/new"));
        QTRY_VERIFY_WITH_TIMEOUT(!list->hasLocalRow(), patience);
        QCOMPARE(list->current(), head);
        QCOMPARE(list->rectOf(head).top() - list->rectOf(head - 1).top(), height);
    }

    // Looking at a repository, again and again, leaves every byte of it as it was.
    void lookingChangesNothing()
    {
        TempRepository repo;
        repo.commitFiles({{"file", "one\n"}}, "Base", {}, "main");
        repo.git({"reset", "--hard", "--quiet"});
        repo.writeFile("file", "two\n");
        const auto before = test::folderState(repo.fsPath());
        Session session;
        session.open(repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(session.localChanges(), patience);
        session.refresh(true);
        QTRY_VERIFY_WITH_TIMEOUT(!session.isLoading(), patience);
        QCOMPARE(session.localChanges()->words(), "1 changed");
        QCOMPARE(test::folderState(repo.fsPath()), before);
    }

    void folderWatchesAreBounded()
    {
        TempRepository repo;
        test::Files files;
        for (int i = 0; i < 3000; ++i)
            files["folder" + std::to_string(i) + "/file"] = "1\n";
        const std::string tip = repo.commitFiles(files, "Base", {}, "main");
        repo.git({"reset", "--hard", "--quiet"});
        QDir refs(repo.path() + QStringLiteral("/.git/refs/heads"));
        for (int i = 0; i < 500; ++i)
            QVERIFY(refs.mkpath(QStringLiteral("topic%1/below").arg(i)));
        WatchedFolders watched;
        watched.set(repo.open(), {});
        QVERIFY2(watched.count() > 2000 && watched.count() <= 2400, qPrintable(QString::number(watched.count())));
        QVERIFY(!watched.take().ofWorktree);
        repo.writeFile("folder1/file", "two\n");
        QVERIFY(watched.take().ofWorktree);
        repo.git({"update-ref", "refs/heads/other", QString::fromStdString(tip)});
        QVERIFY(watched.take().ofGit);
        // Of another repository nothing is heard any more of the first.
        TempRepository other;
        watched.set(other.open(), {});
        watched.take();
        QVERIFY(watched.count() < 10);
        repo.writeFile("folder1/file", "three\n");
        const WatchedFolders::News news = watched.take();
        QVERIFY(!news.ofGit && !news.ofWorktree);
    }
};

QTEST_MAIN(TestLocalChangesShown)
#include "test_local_changes_shown.moc"
