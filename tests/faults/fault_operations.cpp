// SPDX-License-Identifier: MIT
#include "tests/faults/fault_scene.h"

#include <algorithm>
#include <cstdio>
#include <cstdlib>

namespace espalier::test {

namespace {

constexpr const char* baseScript = R"(
export GIT_COMMITTER_DATE='1700000000 +0000' GIT_AUTHOR_NAME=Mira GIT_AUTHOR_EMAIL=mira@example.org
export GIT_COMMITTER_NAME=Mira GIT_COMMITTER_EMAIL=mira@example.org
commit() { git add --all && git commit --quiet -m "$1"; }
for bare in upstream fork; do git init --quiet --bare --initial-branch=main --template= $bare.git; done
git init --quiet --initial-branch=main --template= clone && cd clone
git config user.name 'Mira Holm' && git config user.email mira@example.org && git config gc.auto 0
git config maintenance.auto false
git remote add upstream "$PWD/../upstream.git" && git remote add origin "$PWD/../fork.git"
mkdir -p dir gone deep/er
printf 'one\ntwo\nthree\n' >a.txt; printf 'b\n' >b.txt; printf 'c\n' >dir/c.txt; printf 'only\n' >gone/only.txt
printf 'keep\n' >keep.txt; printf 'x\n' >deep/er/x.txt; printf '*.o\n' >.gitignore
commit Base
git push --quiet upstream main && git push --quiet origin main
git checkout --quiet -b landed && printf 'l\n' >landed.txt && commit Landing
git push --quiet origin landed
git checkout --quiet -b up main
printf 'b, upstream\n' >b.txt; mkdir -p up && printf 'new\n' >up/new.txt; git rm --quiet gone/only.txt; commit 'Upstream moves'
git cherry-pick --allow-empty landed >/dev/null
git push --quiet upstream up:main
git fetch --quiet upstream && git fetch --quiet origin
printf 'b, upstream again\n' >b.txt; printf 'x, upstream\n' >deep/er/x.txt; commit 'Upstream moves again'
git push --quiet upstream up:main && git update-ref refs/remotes/upstream/main up~1
git checkout --quiet -b topic/x main
printf 'one\ntwo, mine\nthree\n' >a.txt; commit 'First of the topic'
printf '#!/bin/sh\n' >dir/run.sh; chmod +x dir/run.sh; ln -s c.txt dir/link; printf 'c, longer\n' >dir/c.txt
commit 'Second of the topic'
git notes add -m 'A note' HEAD && git config notes.rewriteRef refs/notes/commits
git push --quiet origin topic/x
git checkout --quiet -b topic/y && mkdir y && printf 'y\n' >y/y.txt && commit 'On top'
git checkout --quiet -b other main && printf 'o\n' >other.txt && printf 'a, other\n' >a.txt && commit 'Something else'
git branch --quiet -D up
git config branch.topic/x.description 'what it is for'
git checkout --quiet topic/x
git pack-refs --all
git update-ref refs/heads/loose topic/y
mkdir -p .git/hooks
printf '#!/bin/sh\ncat >>../hook.log\n' >.git/hooks/post-rewrite && chmod +x .git/hooks/post-rewrite
printf 'changed\n' >keep.txt; printf 'staged\n' >staged.txt; git add staged.txt
printf 'untracked\n' >untracked.txt; printf 'ignored\n' >ignored.o
git status >/dev/null
)";

} // namespace

void buildBase(const std::filesystem::path& place)
{
    std::filesystem::create_directories(place);
    shell(baseScript, place);
}

const std::vector<Operation>& operations()
{
    static const std::string replayed = ESPALIER_PROGRAM " replay . --branch topic/x --onto upstream/main";
    static const std::string stacked = ESPALIER_PROGRAM " replay . --branch topic/y --onto upstream/main";
    static const std::string onMain = "git stash --quiet && git checkout --quiet main && git stash pop --quiet --index";
    static const std::string zeros(40, '0');
    static const std::string stranger =
        "git --git-dir=../fork.git update-ref refs/heads/topic/x $(git --git-dir=../fork.git -c user.name=Other -c "
        "user.email=other@example.org commit-tree -p topic/x -m Strange topic/x^{tree})";
    // On the fork, since the last fetch: one branch gone, one rewritten. Nothing else leads to what stood there.
    static const std::string pruned =
        "git config fetch.prune true && "
        "git push --quiet origin $(git commit-tree -p topic/y -m Gone topic/y^{tree}):refs/heads/gone/there "
        "$(git commit-tree -p other -m Rewritten other^{tree}):refs/heads/rewritten && git fetch --quiet origin && "
        "git --git-dir=../fork.git update-ref -d refs/heads/gone/there && "
        "git --git-dir=../fork.git update-ref refs/heads/rewritten landed";
    // topic/z changes what the upstream changes too, in a clone that records how that is settled; then it is settled with git.
    static const std::string conflicting =
        "git config rerere.enabled true && git stash --quiet && git checkout --quiet -b topic/z main && "
        "printf 'b, mine\\n' >b.txt && git commit --quiet -m 'Another b' b.txt && git checkout --quiet topic/x && "
        "git stash pop --quiet --index";
    static const std::string resolved =
        "git stash --quiet && git checkout --quiet -b try topic/z && { git rebase --quiet upstream/main || true; } && "
        "printf 'b, both\\n' >b.txt && git add b.txt && GIT_EDITOR=true git rebase --continue && "
        "git checkout --quiet topic/x && git branch --quiet -D try && git stash pop --quiet --index";
    static const std::vector<Operation> all{
        {.name = "replay",
         .words = {"replay", "PATH", "--branch", "topic/x", "--onto", "upstream/main"},
         .rewrites = true},
        {.name = "replay-stacked",
         .words = {"replay", "PATH", "--branch", "topic/y", "--onto", "upstream/main"},
         .rewrites = true},
        {.name = "replay-elsewhere",
         .words = {"replay", "PATH", "--branch", "topic/x", "--onto", "upstream/main"},
         .prepare = "git stash --quiet && git checkout --quiet other && git stash pop --quiet --index",
         .rewrites = true},
        {.name = "restore", .words = {"restore", "PATH", "ENTRY"}, .prepare = replayed},
        {.name = "update", .words = {"update", "PATH"}, .pushes = true},
        {.name = "update-checked-out", .words = {"update", "PATH"}, .prepare = onMain, .pushes = true},
        {.name = "push", .words = {"push", "PATH", "--branch", "topic/y"}, .pushes = true},
        {.name = "push-forced",
         .words = {"push", "PATH", "--branch", "topic/x", "--expect", "FORK:topic/x"},
         .prepare = replayed,
         .pushes = true},
        // Somebody's commit stands there that was never fetched: pushed over by its id, it is kept here.
        {.name = "push-over-stranger",
         .words = {"push", "PATH", "--branch", "topic/x", "--expect", "FORK:topic/x"},
         .prepare = replayed + " && " + stranger,
         .pushes = true},
        {.name = "push-together",
         .words = {"push", "PATH", "--together", "topic/x:FORK:topic/x topic/y:" + zeros},
         .prepare = stacked,
         .pushes = true},
        {.name = "push-apart",
         .words = {"push", "PATH", "--together", "topic/x:FORK:topic/x topic/y:" + zeros},
         .prepare = stacked + " && git -C ../fork.git config receive.advertiseAtomic false",
         .pushes = true,
         .apart = true},
        {.name = "restore-push",
         .words = {"restore", "PATH", "ENTRY"},
         .prepare =
             replayed + " && " ESPALIER_PROGRAM " push . --branch topic/x --expect $(git rev-parse origin/topic/x)",
         .pushes = true},
        {.name = "fetch", .words = {"driver", "fetch", "PATH", "upstream"}, .quiet = true},
        {.name = "fetch-prunes",
         .words = {"driver", "fetch", "PATH", "origin"},
         .prepare = pruned + " && git --git-dir=../fork.git update-ref refs/heads/gone landed"},
        {.name = "restore-pruned",
         .words = {"restore", "PATH", "ENTRY"},
         .prepare = pruned + " && " ESPALIER_FAULT_DRIVER " fetch . origin"},
        {.name = "check-out", .words = {"driver", "check-out", "PATH", "other"}},
        {.name = "detach", .words = {"driver", "detach", "PATH", "other"}},
        {.name = "move-to-topic",
         .words = {"driver", "move-to-topic", "PATH", "main", "topic/mistake", "upstream/main"},
         .prepare =
             onMain + " && printf 'm\\n' >mine.txt && git add mine.txt && git commit --quiet -m Mistake mine.txt"},
        {.name = "move-to-topic-elsewhere",
         .words = {"driver", "move-to-topic", "PATH", "main", "topic/mistake", "upstream/main"},
         .prepare = "git update-ref refs/heads/main $(git commit-tree -p main -m Mistake main^{tree})"},
        {.name = "create", .words = {"driver", "create", "PATH", "topic/z", "main"}},
        {.name = "rename", .words = {"driver", "rename", "PATH", "topic/x", "renamed"}},
        {.name = "rename-below", .words = {"driver", "rename", "PATH", "topic/x", "topic/x/y"}},
        {.name = "delete", .words = {"driver", "delete", "PATH", "other"}},
        {.name = "delete-loose", .words = {"driver", "delete", "PATH", "loose"}},
        {.name = "restore-deleted",
         .words = {"restore", "PATH", "ENTRY"},
         .prepare = ESPALIER_FAULT_DRIVER " delete . other"},
        {.name = "restore-renamed",
         .words = {"restore", "PATH", "ENTRY"},
         .prepare = ESPALIER_FAULT_DRIVER " rename . topic/x renamed"},
        {.name = "clean-up", .words = {"driver", "clean-up", "PATH", "landed"}, .pushes = true, .inParts = true},
        {.name = "forget",
         .words = {"driver", "forget", "PATH", "ENTRY"},
         .prepare = replayed + " && git pack-refs --all",
         .quiet = true},
        {.name = "logbook-expire",
         .words = {"logbook", "PATH", "--expire", "0d"},
         .prepare = replayed + " && " ESPALIER_FAULT_DRIVER " delete . loose",
         .quiet = true,
         .apart = true},
        {.name = "replay-settle",
         .words = {"replay", "PATH", "--branch", "topic/z", "--onto", "upstream/main", "--settle", "your-commit"},
         .prepare = conflicting,
         .rewrites = true,
         .records = true},
        {.name = "replay-proposed",
         .words = {"replay", "PATH", "--branch", "topic/z", "--onto", "upstream/main", "--settle", "proposed"},
         .prepare = conflicting + " && " + resolved,
         .rewrites = true,
         .records = true},
        {.name = "settle", .words = {"driver", "settle", "PATH", "topic/x", "upstream/main"}, .quiet = true},
        {.name = "remember", .words = {"driver", "remember", "PATH", "topic/x"}, .quiet = true},
    };
    return all;
}

const Operation& operationNamed(const std::string& name)
{
    const auto at = std::ranges::find(operations(), name, &Operation::name);
    if (at == operations().end()) {
        std::fprintf(stderr, "There is no operation %s\n", name.c_str());
        std::exit(2);
    }
    return *at;
}

const std::map<std::string, std::string>& secondPrograms()
{
    static const std::string me = "-c user.name=Other -c user.email=other@example.org";
    static const std::map<std::string, std::string> all{
        {"commit", "git " + me + " commit --quiet --allow-empty -m Meanwhile"},
        {"commit-all", "git " + me + " commit --quiet --all -m Meanwhile"},
        {"gc", "git gc --quiet --prune=now"},
        {"gc-fork", "git --git-dir=../fork.git gc --quiet --prune=now"},
        {"pack-refs", "git pack-refs --all --prune"},
        {"check-out", "git checkout --quiet other"},
        {"detach", "git checkout --quiet --detach"},
        {"branch", "git branch --quiet --force loose other"},
        {"stage", "printf 'more\\n' >>staged.txt; git add staged.txt"},
        {"fetch", "git fetch --quiet upstream"},
        {"stranger", "git --git-dir=../fork.git " + me + " update-ref refs/heads/topic/x $(git --git-dir=../fork.git " +
                         me + " commit-tree -p topic/x -m Strange topic/x^{tree})"},
        {"save", "printf 'saved\\n' >b.txt; printf 'saved too\\n' >dir/c.txt; printf 'mine\\n' >up-new.txt"},
        {"save-new", "mkdir -p up && printf 'saved\\n' >up/new.txt"},
        {"save-by-rename", "printf 'saved\\n' >b.tmp && mv b.tmp b.txt"},
        {"save-gone", "mkdir -p gone && printf 'saved\\n' >gone/only.txt"},
        {"second", ESPALIER_PROGRAM " replay . --branch other --onto upstream/main"},
        {"second-update", ESPALIER_PROGRAM " update ."},
    };
    return all;
}

} // namespace espalier::test
