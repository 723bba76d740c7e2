// SPDX-License-Identifier: MIT
//
// Questions and changes by path, on trees drawn by lot. Reference: the trees that git writes for the same files.
#include "core/tree/edit.h"
#include "core/tree/lookup.h"

#include "tests/support/random_history.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <set>

using namespace espalier;
using namespace espalier::test;

class TestEdit : public QObject {
    Q_OBJECT

    // Names where the order of a folder and of a file with a longer name differ; "a" is now a file, now a folder.
    static std::map<std::string, std::string> randomFiles(SmallRandom& random)
    {
        static constexpr const char* paths[] = {"a", "a/b", "a/c/d", "a-b", "a.c/d", "a.c/e/f", "b/a", "b/b/c", "z"};
        std::map<std::string, std::string> files{{"always", "here\n"}};
        for (const std::string path : paths) {
            const bool inTheWay =
                std::ranges::any_of(files, [&](const auto& file) { return path.starts_with(file.first + "/"); });
            if (random.chance(60) && !inTheWay)
                files[path] = random.chance(70) ? "text\n" : "other text\n";
        }
        return files;
    }

    static Oid treeOf(TempRepository& repo, const std::map<std::string, std::string>& files)
    {
        const std::string commit = repo.commitFiles(Files(files.begin(), files.end()), "Files");
        return *Oid::parse(repo.git({"rev-parse", QString::fromStdString(commit + "^{tree}")}));
    }

  private Q_SLOTS:
    void againstGit()
    {
        TempRepository repo(TempRepository::Bare);
        const Repository opened = repo.open();
        ObjectStore store(opened);
        SmallRandom random(11);
        int same = 0, different = 0;
        for (int round = 0; round < 25; ++round) {
            const auto before = randomFiles(random), after = round % 8 == 0 ? before : randomFiles(random);
            const Oid one = treeOf(repo, before), other = treeOf(repo, after);

            std::set<std::string> paths{"", "nowhere", "always/below", "a/c/nowhere"};
            for (const auto* files : {&before, &after})
                for (const auto& [path, text] : *files)
                    for (std::size_t end = path.find('/');; end = path.find('/', end + 1)) {
                        paths.insert(path.substr(0, end));
                        if (end == path.npos)
                            break;
                    }
            for (const std::string& path : paths) {
                const auto left = entryAt(store, one, path), right = entryAt(store, other, path);
                QVERIFY(left && right);
                if (!path.empty()) {
                    const std::string listed =
                        repo.git({"ls-tree", QString::fromStdString(one.hex()), QString::fromStdString(path)});
                    QCOMPARE(left->exists(), !listed.empty());
                    if (left->exists())
                        QVERIFY2(listed.contains(left->id.hex()), path.c_str());
                }
                const auto equal = sameAt(store, one, other, path);
                QVERIFY(equal);
                QCOMPARE(*equal, *left == *right);
                ++(*equal ? same : different);
            }

            std::map<std::string, PathEntry> edits;
            for (const auto& [path, text] : before)
                if (!after.contains(path))
                    edits[path];
            for (const auto& [path, text] : after)
                edits[path] = {FileMode::File, store.add(ObjectType::Blob, text)};
            const auto edited = editTree(store, one, edits);
            QVERIFY(edited);
            QCOMPARE(edited->hex(), other.hex());
        }
        QVERIFY(same > 50 && different > 50);
    }
};

QTEST_GUILESS_MAIN(TestEdit)
#include "test_edit.moc"
