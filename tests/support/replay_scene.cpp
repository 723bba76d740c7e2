// SPDX-License-Identifier: MIT
#include "tests/support/replay_scene.h"

#include <QtTest/QtTest>

namespace espalier::test {

Oid oid(const std::string& hex)
{
    const auto id = Oid::parse(hex);
    if (!id)
        QTest::qFail(("not an id: " + hex).c_str(), __FILE__, __LINE__);
    return id.value_or(Oid{});
}

std::shared_ptr<const NewObjects> objectsBetween(const TempRepository& from, const std::string& tip,
                                                 const std::string& without)
{
    auto objects = std::make_shared<NewObjects>();
    const auto list =
        QString::fromStdString(from.git({"rev-list", "--objects", "--no-object-names", QString::fromStdString(tip),
                                         QString::fromStdString("^" + without)}));
    for (const QString& id : list.split('\n', Qt::SkipEmptyParts)) {
        const std::string type = from.git({"cat-file", "-t", id});
        const std::string bytes = from.readRaw(type.c_str(), id.toStdString());
        objects->add(type == "commit" ? ObjectType::Commit
                     : type == "tree" ? ObjectType::Tree
                                      : ObjectType::Blob,
                     bytes);
    }
    return objects;
}

ReplayScene::ReplayScene()
{
    base = repo.commitFiles({{"a.txt", "one\ntwo\nthree\n"},
                             {"b.txt", "b\n"},
                             {"dir/c.txt", "c\n"},
                             {"gone/only.txt", "only\n"},
                             {"keep.txt", "keep\n"}},
                            "Base", {}, "main");
    const Files onMain{{"b.txt", "b, upstream's\n"}, {"up/new.txt", "new\n"}, {"gone/only.txt", std::nullopt}};
    const Files first{{"a.txt", "one\ntwo, mine\nthree\n"}};
    const Files second{
        {"exe:dir/run.sh", "#!/bin/sh\n"}, {"link:dir/link", "c.txt"}, {"dir/c.txt", "c, longer than it was\n"}};
    main = repo.commitFiles(onMain, "Upstream moves", {base}, "main");
    topic.push_back(repo.commitFiles(first, "First of the topic", {base}));
    topic.push_back(repo.commitFiles(second, "Second of the topic", {topic[0]}, "topic/x"));
    m_side.git({"fetch", "--quiet", repo.path(), "refs/heads/*:refs/from/*"});
    replayed.push_back(m_side.commitFiles(first, "First of the topic", {main}));
    replayed.push_back(m_side.commitFiles(second, "Second of the topic", {replayed[0]}, "replayed"));
    repo.git({"symbolic-ref", "HEAD", "refs/heads/topic/x"});
    repo.git({"reset", "--hard", "--quiet"});
}

Rewrite ReplayScene::rewrite() const
{
    Rewrite rewrite;
    rewrite.title = "Replay topic/x onto main";
    rewrite.moves = {{"refs/heads/topic/x", oid(topic[1]), oid(replayed[1])}};
    rewrite.pairs = {{oid(topic[0]), oid(replayed[0])}, {oid(topic[1]), oid(replayed[1])}};
    rewrite.objects = objectsBetween(m_side, replayed[1], main);
    return rewrite;
}

std::map<std::string, std::string> ReplayScene::worktree() const
{
    auto state = folderState(repo.fsPath());
    std::erase_if(state, [](const auto& item) { return item.first == ".git" || item.first.starts_with(".git/"); });
    return state;
}

std::string ReplayScene::status() const { return repo.git({"status", "--porcelain", "--untracked-files=all"}); }

void ReplayScene::checkSound() const
{
    const GitRun run = repo.tryGit({"fsck", "--strict", "--no-dangling"});
    if (run.exitCode != 0 || !run.err.isEmpty() || !run.out.isEmpty())
        QTest::qFail(("fsck: " + run.out + run.err).constData(), __FILE__, __LINE__);
}

} // namespace espalier::test
