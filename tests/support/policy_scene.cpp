// SPDX-License-Identifier: MIT
#include "tests/support/policy_scene.h"

#include "core/history/snapshot.h"

namespace espalier::test {

namespace {

std::string word(int number)
{
    std::string text = "w";
    for (; number > 0; number /= 20)
        text += char('a' + number % 20);
    return text;
}

std::string own(const std::string& line) { return "int a;\nint b;\n" + line + "\nint c;\nint d;\n"; }

} // namespace

std::string PolicyScene::notes(const std::string& first, const std::string& second)
{
    return "one\ntwo\nthree\n" + first + "\nfive\nsix\nseven\neight\nnine\n" + second + "\neleven\ntwelve\nthirteen\n";
}

PolicyScene::PolicyScene(int merges, bool ownClash)
{
    repo.git({"config", "user.name", "Mira Sol"});
    repo.git({"config", "user.email", "mira@example.org"});
    BulkHistory bulk;
    int tip = bulk.commit("main", {}, {{"doc/notes.txt", notes("start", "end")}, {"lib/own.c", own("int x;")}}, "Root");
    for (int i = 0; i < merges; ++i) {
        const std::string topics = notes("topic " + word(i), "topic's end " + word(i));
        const std::string base = notes("base " + word(i), "base's end " + word(i));
        const int topic = bulk.commit("side", {tip}, {{"doc/notes.txt", topics}}, "Topic " + word(i));
        const int on = bulk.commit("main", {tip}, {{"doc/notes.txt", base}}, "On main");
        tip = bulk.commit("main", {on, topic}, {{"doc/notes.txt", topics}}, "Merge");
    }
    tip = bulk.commit("main", {tip}, {{"doc/notes.txt", notes("base of it", "end of it")}}, "Of it");
    Files mine{{"doc/notes.txt", notes("topic brings that", "topic ends that")}};
    Files theirs{{"doc/notes.txt", notes("base has this", "base ends this")}};
    if (ownClash) {
        mine["lib/own.c"] = own("int x = 1;");
        theirs["lib/own.c"] = own("long x;");
    }
    bulk.commit("topic/x", {tip}, mine, "Bring notes");
    bulk.commit("main", {tip}, theirs, "Have notes");
    (void)bulk.import(repo);
    repo.git({"checkout", "--quiet", "topic/x"});
}

Plan PolicyScene::plan() const
{
    const Repository opened = repo.open();
    const auto snapshot = takeSnapshot(opened).value();
    PlanOptions options;
    options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
    return planBranch(opened, *snapshot, "refs/heads/topic/x", *opened.resolve("main"), "main", options).value();
}

} // namespace espalier::test
