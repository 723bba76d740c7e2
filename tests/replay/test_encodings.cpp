// SPDX-License-Identifier: MIT
//
// Commits that are not in UTF-8, carried, reworded and folded. The reference is `git rebase`: authors, headers and messages are
// compared byte for byte.
#include "core/replay/dry_run.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestEncodings : public QObject {
    Q_OBJECT

    // All of a commit but what must differ: its tree, its parents and the committer's moment.
    static std::string comparable(const TempRepository& repo, const std::string& id)
    {
        const std::string raw = repo.readRaw("commit", id);
        std::string kept = raw.substr(raw.find("author "));
        const std::size_t committer = kept.find("committer "), moment = kept.find("> ", committer) + 1;
        return kept.erase(moment, kept.find('\n', moment) - moment);
    }
    static std::vector<std::string> commitsAbove(const TempRepository& repo, const std::string& base,
                                                 const std::string& tip)
    {
        const QStringList lines =
            QString::fromStdString(repo.git({"rev-list", "--reverse", QString::fromStdString(base + ".." + tip)}))
                .split('\n', Qt::SkipEmptyParts);
        std::vector<std::string> all;
        for (const QString& line : lines)
            all.push_back(comparable(repo, line.toStdString()));
        return all;
    }

  private Q_SLOTS:
    void asGitRebase_data()
    {
        QTest::addColumn<QByteArray>("encoding");
        QTest::addColumn<QByteArray>("command"); // of git's list, for all commits but the first
        for (const char* encoding : {"ISO-8859-1", "latin1", "utf-8", "windows-1251", "klingon", ""})
            for (const char* command : {"pick", "reword", "squash", "fixup"})
                QTest::addRow("%s %s", encoding, command) << QByteArray(encoding) << QByteArray(command);
    }
    void asGitRebase()
    {
        QFETCH(QByteArray, encoding);
        QFETCH(QByteArray, command);
        TempRepository repo;
        const std::string base = repo.commitFiles({{"base", "1\n"}}, "Base", {}, "topic");
        const std::string main = repo.commitFiles({{"main", "1\n"}}, "Main", {base}, "main");
        // Without an encoding the bytes are UTF-8, and so they stay.
        const bool isUtf8 = encoding.isEmpty() || encoding == "utf-8";
        const std::string e = isUtf8 ? "\xc3\xa9" : "\xe9";
        std::string tip = base;
        for (int i = 0; i < 3; ++i) {
            const std::string made = repo.commitFiles({{"topic", std::to_string(i)}}, "x", {tip});
            std::string raw = repo.readRaw("commit", made);
            raw = raw.substr(0, raw.find("author ")) + "author Andr" + e + " Holm <andr" + e +
                  "@example.org> 1700000000 +0130\ncommitter Zo" + e + " Quill <zoe@example.org> 1700000001 +0000\n" +
                  (encoding.isEmpty() ? "" : "encoding " + encoding.toStdString() + "\n") + "\nCaf" + e + ' ' +
                  std::to_string(i) + "\n\nBody " + e + "\n";
            tip = repo.writeRaw("commit", raw);
        }
        repo.git({"update-ref", "refs/heads/topic", QString::fromStdString(tip)});

        const Repository opened = repo.open();
        PlanOptions options;
        options.committer = Person{"Jörg Lund", "joerg@example.org", 1700000500, 60};
        auto plan = planBranch(opened, **takeSnapshot(opened), "refs/heads/topic", *Oid::parse(main), "main", options);
        QVERIFY(plan);
        for (std::size_t i = 1; i < 3; ++i) {
            auto edited = command == "reword"   ? withMessage(*plan, i, "New wörds\n")
                          : command == "squash" ? withTreatment(*plan, i, Treatment::Fold)
                          : command == "fixup"  ? withTreatment(*plan, i, Treatment::FoldQuietly)
                                                : Result<Plan>(*plan);
            QVERIFY(edited);
            plan = std::move(edited);
        }
        const auto run = dryRun(opened, *plan, {});
        QVERIFY(run && run->newTip);
        QVERIFY(writeObjects(opened, *run->objects));
        const auto ours = commitsAbove(repo, main, run->newTip->hex());

        repo.writeFile("../words", "New wörds\n");
        repo.git({"config", "sequence.editor", "sed -i -e '2,$s/^pick/" + QString(command) + "/'"});
        repo.git({"checkout", "--quiet", "--force", "topic"});
        const GitRun rebased =
            runProgram("git", {"rebase", "-i", "main"}, repo.path(), {},
                       {{"GIT_COMMITTER_NAME", "Jörg Lund"},
                        {"GIT_COMMITTER_EMAIL", "joerg@example.org"},
                        {"GIT_EDITOR", command == "reword" ? "cp " + repo.outside() + "/words" : QString("true")}});
        QVERIFY2(rebased.exitCode == 0, rebased.err.constData());
        const auto gits = commitsAbove(repo, main, "topic");
        QCOMPARE(ours, gits);
        QCOMPARE(ours.size(), command == "squash" || command == "fixup" ? std::size_t(1) : std::size_t(3));
    }
};

QTEST_GUILESS_MAIN(TestEncodings)
#include "test_encodings.moc"
