// SPDX-License-Identifier: MIT
#include "tests/faults/fault_scene.h"

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <set>
#include <sstream>

#include <sched.h>
#include <sys/mount.h>
#include <sys/statvfs.h>

namespace espalier::test {

namespace fs = std::filesystem;

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

std::vector<std::string> linesOf(const std::string& text)
{
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);)
        lines.push_back(line);
    return lines;
}

std::string capture(const std::string& script, const fs::path& folder)
{
    const Ran ran = run({"sh", "-c", script}, folder);
    return ran.out + ran.err;
}

// Every file of the worktree, contents and all, but for git's own.
std::string filesBelow(const fs::path& folder)
{
    std::set<std::string> lines;
    std::error_code error;
    for (fs::recursive_directory_iterator at(folder, error); at != fs::recursive_directory_iterator(); ++at) {
        if (at->path().filename() == ".git") {
            at.disable_recursion_pending();
            continue;
        }
        const std::string name = at->path().lexically_relative(folder).string();
        if (at->is_symlink())
            lines.insert(name + " -> " + fs::read_symlink(at->path()).string());
        else if (at->is_directory())
            lines.insert(name + "/");
        else
            lines.insert(name + " " + std::to_string(int(at->status().permissions() & fs::perms::owner_exec)) + " " +
                         readFile(at->path()));
    }
    std::string text;
    for (const std::string& line : lines)
        text += line + '\n';
    return text;
}

// Where two texts begin to differ, for people.
std::string difference(const std::string& a, const std::string& b)
{
    const auto left = linesOf(a), right = linesOf(b);
    const std::set<std::string> leftSet(left.begin(), left.end()), rightSet(right.begin(), right.end());
    std::string text;
    int shown = 0;
    for (const std::string& line : left)
        if (!rightSet.contains(line) && shown++ < 4)
            text += " -[" + line + "]";
    for (const std::string& line : right)
        if (!leftSet.contains(line) && shown++ < 8)
            text += " +[" + line + "]";
    return text;
}

std::string oneLine(std::string text)
{
    std::ranges::replace(text, '\n', '|');
    return text.substr(0, 600);
}

void add(std::vector<std::string>& to, std::vector<std::string> more)
{
    to.insert(to.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

} // namespace

const std::vector<Operation>& operations()
{
    static const std::string replayed = ESPALIER_PROGRAM " replay . --branch topic/x --onto upstream/main";
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
        {.name = "update-checked-out",
         .words = {"update", "PATH"},
         .prepare = "git stash --quiet && git checkout --quiet main && git stash pop --quiet --index",
         .pushes = true},
        {.name = "push", .words = {"push", "PATH", "--branch", "topic/y"}, .pushes = true},
        {.name = "push-forced",
         .words = {"push", "PATH", "--branch", "topic/x", "--expect", "FORK:topic/x"},
         .prepare = replayed,
         .pushes = true},
        {.name = "restore-push",
         .words = {"restore", "PATH", "ENTRY"},
         .prepare =
             replayed + " && " ESPALIER_PROGRAM " push . --branch topic/x --expect $(git rev-parse origin/topic/x)",
         .pushes = true},
        {.name = "fetch", .words = {"driver", "fetch", "PATH", "upstream"}, .quiet = true},
        {.name = "check-out", .words = {"driver", "check-out", "PATH", "other"}},
        {.name = "create", .words = {"driver", "create", "PATH", "topic/z", "main"}},
        {.name = "rename", .words = {"driver", "rename", "PATH", "topic/x", "renamed"}},
        {.name = "rename-below", .words = {"driver", "rename", "PATH", "topic/x", "topic/x/y"}},
        {.name = "delete", .words = {"driver", "delete", "PATH", "other"}},
        {.name = "delete-loose", .words = {"driver", "delete", "PATH", "loose"}},
        {.name = "clean-up", .words = {"driver", "clean-up", "PATH", "landed"}, .pushes = true},
        {.name = "forget",
         .words = {"driver", "forget", "PATH", "ENTRY"},
         .prepare = replayed + " && git pack-refs --all",
         .quiet = true},
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

void buildBase(const fs::path& place)
{
    fs::create_directories(place);
    shell(baseScript, place);
}

FaultScene::FaultScene(fs::path root, const Operation& operation) : m_root(std::move(root)), m_operation(operation)
{
    std::error_code ignored;
    fs::remove_all(m_root, ignored);
    buildBase(place());
    if (!operation.prepare.empty())
        shell(operation.prepare, clone());
    m_entry = capture("ls espalier/logbook/*.json 2>/dev/null | sed 's,.*/,,; s,.json,,' | sort | tail -n 1",
                      clone() / ".git");
    m_entry = m_entry.substr(0, m_entry.find('\n'));
    shell("rm -f hook.log && cp -a . ../template", place());
    m_old = state();
    m_tips = allTips(place());
    const fs::path log = m_root / "log";
    const Ran ran = run(argv(), place(), {.below = place(), .at = 0, .kind = "", .command = "", .log = log});
    if (!ran.ok()) {
        std::fprintf(stderr, "%s fails without a fault: %d %s\n", m_operation.name.c_str(), ran.exitCode,
                     ran.err.c_str());
        std::exit(2);
    }
    m_new = state();
    m_calls = ran.calls;
    m_log = linesOf(readFile(log));
}

FaultScene::~FaultScene()
{
    std::error_code ignored;
    fs::remove_all(m_root, ignored);
}

std::string FaultScene::callNamed(unsigned at) const
{
    if (at == 0 || at > m_log.size())
        return "after the end";
    std::string text = m_log[at - 1];
    const std::string prefix = place().string() + "/";
    for (std::size_t found; (found = text.find(prefix)) != std::string::npos;)
        text.erase(found, prefix.size());
    std::ranges::replace(text, '\t', ' ');
    return text;
}

std::vector<std::string> FaultScene::argv() const
{
    std::vector<std::string> words = m_operation.words;
    const bool driver = words.front() == "driver";
    if (driver)
        words.front() = ESPALIER_FAULT_DRIVER;
    else
        words.insert(words.begin(), ESPALIER_PROGRAM);
    for (std::string& word : words) {
        if (word == "PATH")
            word = clone().string();
        if (word == "ENTRY")
            word = m_entry;
        if (word.starts_with("FORK:")) {
            word = capture("git -C fork.git rev-parse refs/heads/" + word.substr(5), place());
            word = word.substr(0, 40);
        }
    }
    return words;
}

void FaultScene::reset() { shell("rm -rf scene && cp -a template scene", m_root); }

Ran FaultScene::perform(const Fault& fault)
{
    Fault below = fault;
    below.below = place();
    return run(argv(), place(), below);
}

// A command that writes, of something that is not there: it resolves what is open, and then says no.
Ran FaultScene::recover(const Fault& fault)
{
    Fault below = fault;
    below.below = place();
    return run({ESPALIER_PROGRAM, "restore", clone().string(), "20200101-000000-1"}, place(), below);
}

// One shell for all: starting programs is what a round spends its time on.
SceneState FaultScene::state() const
{
    std::string script =
        "git for-each-ref --format='%(refname) %(objectname)' refs/heads; cat .git/HEAD; git ls-files -s; "
        "git status --porcelain -uall; git config --local --get-regexp '^branch\\.'; printf '\\001'; "
        "git --git-dir=../fork.git for-each-ref --format='%(refname) %(objectname)'; printf '\\001'; "
        "git for-each-ref --format='%(refname) %(if)%(symref)%(then)%(symref)%(else)%(objectname)%(end)' "
        "refs/remotes refs/tags refs/stash; "
        "printf '\\001'; git notes list";
    if (m_operation.quiet)
        script +=
            "; printf '\\001'; git for-each-ref --format='%(refname) %(objectname)' refs/espalier; cd .git && find "
            "espalier -type f ! -name lock 2>/dev/null | sort";
    std::vector<std::string> parts;
    std::istringstream in(capture(script, clone()));
    for (std::string part; std::getline(in, part, '\001');)
        parts.push_back(part);
    parts.resize(5);
    SceneState state{parts[0] + filesBelow(clone()), parts[1], {}, parts[3], parts[4]};
    for (const std::string& line : linesOf(parts[2]))
        state.followers[line.substr(0, line.find(' '))] = line.substr(line.find(' ') + 1);
    return state;
}

std::vector<std::string> soundness(const fs::path& place)
{
    std::vector<std::string> wrong;
    const Ran ran = run({"sh", "-c",
                         "git fsck --strict --no-dangling --no-progress && git --git-dir=../fork.git fsck --strict "
                         "--no-dangling --no-progress"},
                        place / "clone");
    if (!ran.ok() || !ran.err.empty() || !ran.out.empty())
        wrong.push_back("fsck: " + oneLine(ran.out + ran.err));
    const Ran work =
        run({"sh", "-e", "-c",
             "git stash list >/dev/null; git commit --quiet --allow-empty -m Probe; git branch probe; git "
             "pack-refs --all; git branch --quiet -D probe; git tag probe; git tag -d probe >/dev/null; git "
             "reset --quiet --soft HEAD~1; git -C ../fork.git update-ref refs/heads/probe "
             "$(git -C ../fork.git rev-parse main); git -C ../fork.git update-ref -d refs/heads/probe; "
             "git config --local probe.x y && git config --local --unset probe.x"},
            place / "clone");
    if (!work.ok())
        wrong.push_back("git cannot go on: " + oneLine(work.err));
    return wrong;
}

std::vector<std::string> leftovers(const fs::path& place)
{
    std::vector<std::string> wrong;
    std::error_code error;
    for (fs::recursive_directory_iterator at(place, error); at != fs::recursive_directory_iterator(); ++at) {
        const std::string name = at->path().filename().string(), path = at->path().lexically_relative(place).string();
        const bool ours = name.ends_with(".lock") || name.ends_with(".open") || name.ends_with(".forget") ||
                          name.find("espalier-") != name.npos || name.find(".new.") != name.npos ||
                          name.ends_with(".espalier") || name == "packed-refs.new" ||
                          path.find("espalier/locks/") != path.npos;
        const bool empty = at->is_directory() && !at->is_symlink() && fs::is_empty(at->path(), error) &&
                           path.find("espalier/") != path.npos && !path.ends_with("espalier/locks") &&
                           !path.ends_with("espalier/logbook") && !path.ends_with("espalier/kept") &&
                           !path.ends_with("espalier/settling") && !path.ends_with("espalier/remembered");
        if (ours || empty)
            wrong.push_back("left behind: " + path);
    }
    return wrong;
}

std::vector<std::string> allTips(const fs::path& place)
{
    std::set<std::string> tips;
    for (const std::string& line :
         linesOf(capture("git for-each-ref --format='%(objectname)' refs/heads refs/remotes refs/tags refs/notes; git "
                         "--git-dir=../fork.git for-each-ref --format='%(objectname)' refs/heads refs/tags",
                         place / "clone")))
        tips.insert(line);
    return {tips.begin(), tips.end()};
}

std::vector<std::string> lostTips(const fs::path& place, const std::vector<std::string>& tips)
{
    std::set<std::string> reached;
    for (const std::string& line : linesOf(capture("git rev-list --all; git --git-dir=../fork.git rev-list --all; git "
                                                   "--git-dir=../upstream.git rev-list --all",
                                                   place / "clone")))
        reached.insert(line);
    std::vector<std::string> wrong;
    for (const std::string& tip : tips)
        if (!reached.contains(tip))
            wrong.push_back("lost: " + tip);
    return wrong;
}

std::vector<std::string> FaultScene::judge(const Ran& ran, const Fault& fault)
{
    std::vector<std::string> wrong;
    if (ran.hung)
        wrong.push_back("hangs");
    const bool killed = ran.exitCode < 0;
    if (killed && ran.signal != SIGKILL)
        wrong.push_back("ended by signal " + std::to_string(ran.signal));
    if (killed && fault.kind != "kill" && fault.kind != "cut")
        wrong.push_back("ended without a reason");
    if (ran.exitCode > 0 && ran.err.find("espalier: ") == std::string::npos)
        wrong.push_back("says nothing: " + oneLine(ran.err));
    if (ran.err.find("[no error]") != std::string::npos)
        wrong.push_back("[no error]: " + oneLine(ran.err));
    if (ran.exitCode != 0)
        return wrong;
    const SceneState now = state();
    if (now.clone != m_new.clone)
        wrong.push_back("exit 0, but the clone is not new:" + difference(m_new.clone, now.clone));
    if (now.fork != m_new.fork)
        wrong.push_back("exit 0, but the fork is not new:" + difference(m_new.fork, now.fork));
    if (fault.kind != "full" && fault.kind != "broken")
        for (std::string& line : leftovers(place()))
            // What a push has done stays to be looked at where it could not be written down.
            if (!m_operation.pushes || !line.ends_with(".open"))
                wrong.push_back("exit 0, but " + line);
    return wrong;
}

std::vector<std::string> FaultScene::judgeRest(const SceneState& now, const std::string& said)
{
    std::vector<std::string> wrong;
    const bool cloneOld = now.clone == m_old.clone, cloneNew = now.clone == m_new.clone;
    const bool forkOld = now.fork == m_old.fork, forkNew = now.fork == m_new.fork;
    if (!cloneOld && !cloneNew)
        wrong.push_back("the clone is between: old" + difference(m_old.clone, now.clone) + ", new" +
                        difference(m_new.clone, now.clone));
    if (!forkOld && !forkNew)
        wrong.push_back("the fork is between:" + difference(m_old.fork, now.fork));
    const auto ofFollower = [](const SceneState& state, const std::string& name) {
        const auto at = state.followers.find(name);
        return at == state.followers.end() ? std::string() : at->second;
    };
    std::set<std::string> names;
    for (const SceneState* state : std::initializer_list<const SceneState*>{&m_old, &m_new, &now})
        for (const auto& [name, value] : state->followers)
            names.insert(name);
    for (const std::string& name : names)
        // The fetch that settles a push also says which branch the fork's HEAD is.
        if (const std::string value = ofFollower(now, name);
            !name.ends_with("/HEAD") && value != ofFollower(m_old, name) && value != ofFollower(m_new, name))
            wrong.push_back("between: " + name + " " + value);
    if (m_operation.quiet && now.own != m_old.own && now.own != m_new.own)
        wrong.push_back("its own files are between:" + difference(m_old.own, now.own));
    if (m_operation.rewrites && cloneNew && now.notes != m_new.notes && said.find("not copied") == std::string::npos)
        wrong.push_back("the notes did not follow:" + difference(m_new.notes, now.notes));
    // What is written by the hook itself is its own affair; that it failed has been said then.
    if (m_operation.rewrites && cloneNew && readFile(place() / "hook.log").empty() &&
        said.find("post-rewrite") == std::string::npos)
        wrong.push_back("post-rewrite did not run");
    add(wrong, leftovers(place()));
    add(wrong, lostTips(place(), m_tips));
    const std::string begun = capture("grep -l '\"begun\"' espalier/logbook/*.json 2>/dev/null", clone() / ".git");
    if (!begun.empty())
        wrong.push_back("begun for ever: " + oneLine(begun));
    add(wrong, soundness(place()));
    return wrong;
}

std::vector<std::string> FaultScene::round(const Fault& fault) { return round(fault, {}); }

std::vector<std::string> FaultScene::round(const Fault& fault, const Fault& second)
{
    reset();
    const Ran ran = perform(fault);
    std::vector<std::string> wrong = judge(ran, fault);
    // Who only reads says that something is half done, and changes nothing.
    const fs::path marks = clone() / ".git/espalier/logbook";
    bool open = false;
    std::error_code error;
    for (fs::directory_iterator at(marks, error); !error && at != fs::directory_iterator(); at.increment(error))
        open = open || at->path().extension() == ".open";
    if (open && fault.at % 5 == 0) {
        const SceneState before = state();
        const Ran looked = run({ESPALIER_PROGRAM, "drift", clone().string(), "--no-forecast"}, place());
        if (state().clone != before.clone)
            wrong.push_back("drift changed something");
        if (looked.err.empty())
            wrong.push_back("drift does not say that something is half done");
    }
    Ran told = ran;
    if (second.at > 0) {
        const Ran broken = recover(second);
        if (broken.hung)
            wrong.push_back("the recovery hangs");
        told.err += broken.err; // what failed then was said then
    }
    add(wrong, judgeDone(told, fault));
    for (std::string& line : wrong)
        line += ran.err.empty() || &line != &wrong.front() ? "" : "  {" + oneLine(ran.err) + "}";
    return wrong;
}

// After the recovery.
std::vector<std::string> FaultScene::judgeDone(const Ran& ran, const Fault& fault)
{
    std::vector<std::string> wrong;
    const Ran recovered = recover();
    m_recoveryCalls = recovered.calls;
    if (recovered.exitCode != 2 || recovered.err.find("no such entry") == std::string::npos)
        wrong.push_back("the recovery says: " + oneLine(recovered.err));
    // Whether a push arrived only a fetch tells.
    if (m_operation.pushes)
        if (const Ran fetched = run({ESPALIER_FAULT_DRIVER, "fetch", clone().string(), "origin"}, place(), {});
            !fetched.ok())
            wrong.push_back("the fetch after it says: " + oneLine(fetched.err));
    const SceneState now = state();
    add(wrong, judgeRest(now, ran.err + recovered.err));
    // A failure that is one: what is said not to be done is not done. Only who says "may" leaves it open.
    const bool changes = m_old.clone != m_new.clone || m_old.fork != m_new.fork;
    const bool changesOwn = m_operation.quiet && m_old.own != m_new.own;
    if (ran.exitCode > 0 && (changes || changesOwn) && now.clone == m_new.clone && now.fork == m_new.fork &&
        (!changesOwn || now.own == m_new.own) && ran.err.find(" may ") == std::string::npos &&
        ran.err.find("be removed") == std::string::npos && ran.err.find("Half done") == std::string::npos)
        wrong.push_back("says that it failed, but it is done: " + oneLine(ran.err));
    // And it can be done now.
    if (now.clone == m_old.clone && now.fork == m_old.fork && changes && fault.at % 7 == 0) {
        const Ran again = perform({});
        const SceneState after = state();
        if (!again.ok() || after.clone != m_new.clone || after.fork != m_new.fork)
            wrong.push_back("it cannot be repeated: " + oneLine(again.err) + difference(m_new.clone, after.clone));
    }
    return wrong;
}

const std::map<std::string, std::string>& secondPrograms()
{
    static const std::string me = "-c user.name=Other -c user.email=other@example.org";
    static const std::map<std::string, std::string> all{
        {"commit", "git " + me + " commit --quiet --allow-empty -m Meanwhile"},
        {"commit-all", "git " + me + " commit --quiet --all -m Meanwhile"},
        {"gc", "git gc --quiet --prune=now"},
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

// What a save by another program must leave: its words, in the worktree or, where they were committed, in a commit.
std::vector<std::string> FaultScene::beside(unsigned at, const std::string& command)
{
    reset();
    const fs::path told = m_root / "told";
    std::error_code ignored;
    fs::remove(told, ignored);
    const Fault fault{.below = {},
                      .at = at,
                      .kind = "run",
                      .command =
                          "cd " + clone().string() + " && export GIT_CONFIG_NOSYSTEM=1 GIT_CONFIG_GLOBAL=/dev/null; (" +
                          command + ") >/dev/null 2>&1; printf '%s ' $? >" + told.string() +
                          "; git for-each-ref --format='%(objectname)' refs/heads refs/notes >>" + told.string() +
                          "; git --git-dir=../fork.git for-each-ref --format='%(objectname)' >>" + told.string() +
                          "; git rev-parse --verify --quiet HEAD >>" + told.string()};
    const Ran ran = perform(fault);
    std::vector<std::string> wrong;
    if (ran.hung || ran.exitCode < 0)
        wrong.push_back("ended by signal " + std::to_string(ran.signal));
    // 1 without an error: what the other program did makes a conflict, and the outcome says so.
    const bool toldOutcome = ran.exitCode == 1 && !ran.out.empty();
    if (ran.exitCode > 0 && !toldOutcome && ran.err.find("espalier: ") == std::string::npos)
        wrong.push_back("says nothing: " + oneLine(ran.err));
    // A second one of this program may have waited in vain for a lock that this one, stopped as it was, could not let go: what
    // was left to clear away is then for the next command.
    const bool leavesTheRest = command.find(ESPALIER_PROGRAM) != std::string::npos;
    std::vector<std::string> left = leavesTheRest ? std::vector<std::string>() : leftovers(place());
    const Ran recovered = recover();
    if (leavesTheRest)
        left = leftovers(place());
    for (const std::string& line : left)
        wrong.push_back("without a crash, " + line);
    if (recovered.exitCode != 2 || recovered.err.find("no such entry") == std::string::npos)
        wrong.push_back("the recovery says: " + oneLine(recovered.err));
    // Every tip that either of them has made or found is still there.
    std::string text = readFile(told);
    std::vector<std::string> tips = m_tips;
    if (const std::size_t blank = text.find(' '); blank != std::string::npos)
        for (const std::string& tip : linesOf(text.substr(blank + 1)))
            tips.push_back(tip);
    if (command.find("--detach") != std::string::npos)
        shell("git branch detached HEAD", clone());
    add(wrong, lostTips(place(), tips));
    // Nothing that was saved is gone, and no file is on a side to which HEAD does not lead.
    const std::string status = capture("git status --porcelain -uall", clone());
    for (const std::string& line : linesOf(status)) {
        const std::string path = line.substr(3);
        const bool mine = path == "keep.txt" || path == "staged.txt" || path == "untracked.txt";
        if (!mine && readFile(clone() / path).find("saved") == std::string::npos && path != "up-new.txt")
            wrong.push_back("mixed: " + line);
    }
    for (const char* path : {"b.txt", "dir/c.txt", "up/new.txt", "gone/only.txt"}) {
        const bool saves = command.find(std::string(">") + path) != std::string::npos ||
                           command.find(std::string("mv b.tmp ") + path) != std::string::npos;
        if (saves && fs::exists(told) && readFile(clone() / path).find("saved") == std::string::npos)
            wrong.push_back(std::string("a save of ") + path + " is gone: " + oneLine(readFile(clone() / path)));
    }
    for (const char* path : {"keep.txt", "untracked.txt", "ignored.o"})
        if (readFile(clone() / path).empty())
            wrong.push_back(std::string("a local file is gone: ") + path);
    add(wrong, soundness(place()));
    for (std::string& line : wrong)
        line += "  {" + oneLine(ran.err) + "}";
    return wrong;
}

SmallDisk::SmallDisk(fs::path folder) : m_folder(std::move(folder))
{
    fs::create_directories(m_folder);
    // In a mount table of this process's own, which goes with it.
    if (::unshare(CLONE_NEWNS) < 0 || ::mount(nullptr, "/", nullptr, MS_REC | MS_PRIVATE, nullptr) < 0 ||
        ::mount("none", m_folder.c_str(), "tmpfs", 0, "size=64m") < 0)
        m_reason = std::string("no disk of its own can be mounted here: ") + std::strerror(errno);
}

SmallDisk::~SmallDisk()
{
    if (isThere())
        ::umount2(m_folder.c_str(), MNT_DETACH);
}

void SmallDisk::setRoom(std::optional<std::size_t> room)
{
    struct statvfs now{};
    ::statvfs(m_folder.c_str(), &now);
    const std::size_t used = std::size_t(now.f_blocks - now.f_bfree) * now.f_frsize;
    const std::size_t size = room ? used + *room : std::size_t(64) << 20;
    const std::string options = "size=" + std::to_string(size);
    if (::mount(nullptr, m_folder.c_str(), nullptr, MS_REMOUNT, options.c_str()) < 0)
        std::perror("remount");
}

std::vector<std::string> FaultScene::withRoom(SmallDisk& disk, std::size_t room)
{
    disk.setRoom(std::nullopt);
    reset();
    disk.setRoom(room);
    const Ran ran = perform({});
    Fault fault{.below = {}, .at = 1, .kind = "full"};
    std::vector<std::string> wrong = judge(ran, fault);
    // On the full disk the recovery may fail, and must not make it worse.
    (void)recover();
    disk.setRoom(std::nullopt);
    add(wrong, judgeDone(ran, fault));
    return wrong;
}

} // namespace espalier::test
