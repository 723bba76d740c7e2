// SPDX-License-Identifier: MIT
#include "tests/faults/fault_scene.h"

#include "tests/faults/fault_text.h"

#include <algorithm>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <set>
#include <sstream>

namespace espalier::test {

namespace fs = std::filesystem;

namespace {

// Old or new; of several that go one by one each line, which is one of them.
bool isWhole(const std::string& now, const std::string& before, const std::string& after, bool apart)
{
    if (now == before || now == after)
        return true;
    const auto old = linesOf(before), fresh = linesOf(after);
    return apart && std::ranges::all_of(linesOf(now), [&](const std::string& line) {
               return std::ranges::contains(old, line) || std::ranges::contains(fresh, line);
           });
}

} // namespace

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
    m_argv = argv();
    const fs::path log = m_root / "log";
    const Ran ran = run(m_argv, place(), {.below = place(), .at = 0, .kind = "", .command = "", .log = log});
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
        if (const std::size_t at = word.find("FORK:"); at != std::string::npos) {
            const std::string branch = word.substr(at + 5, word.find(' ', at) - at - 5);
            const std::string id = capture("git -C fork.git rev-parse refs/heads/" + branch, place()).substr(0, 40);
            word.replace(at, 5 + branch.size(), id);
        }
    }
    return words;
}

void FaultScene::reset() { shell("rm -rf scene && cp -a template scene", m_root); }

Ran FaultScene::perform(const Fault& fault)
{
    Fault below = fault;
    below.below = place();
    return run(m_argv, place(), below);
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
        "git --no-optional-locks status --porcelain -uall; git config --local --get-regexp '^branch\\.'; printf "
        "'\\001'; "
        "git --git-dir=../fork.git for-each-ref --format='%(refname) %(objectname)'; printf '\\001'; "
        "git for-each-ref --format='%(refname) %(if)%(symref)%(then)%(symref)%(else)%(objectname)%(end)' "
        "refs/remotes refs/tags refs/stash; "
        "printf '\\001'; git notes list";
    if (m_operation.quiet)
        script +=
            "; printf '\\001'; git for-each-ref --format='%(refname) %(objectname)' refs/espalier; cd .git && find "
            "espalier -type f ! -name lock 2>/dev/null | sort";
    if (m_operation.records)
        script += "; printf '\\001'; cd .git && find rr-cache -type f 2>/dev/null | sort | xargs -r tail -n +1";
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
    for (const std::string& line : judgeNew(now))
        wrong.push_back("exit 0, but " + line);
    if (m_operation.records && ran.err.empty() && now.own != m_new.own)
        wrong.push_back("not recorded, without a word:" + difference(m_new.own, now.own));
    if (fault.kind != "full" && fault.kind != "broken")
        for (std::string& line : leftovers(place()))
            // What a push has done stays to be looked at where it could not be written down.
            if (!m_operation.pushes || !line.ends_with(".open"))
                wrong.push_back("exit 0, but " + line);
    return wrong;
}

// What is not as it was to be.
std::vector<std::string> FaultScene::judgeNew(const SceneState& now) const
{
    std::vector<std::string> wrong;
    if (now.clone != m_new.clone)
        wrong.push_back("the clone is not new:" + difference(m_new.clone, now.clone));
    if (now.fork != m_new.fork)
        wrong.push_back("the fork is not new:" + difference(m_new.fork, now.fork));
    if (m_operation.quiet && now.own != m_new.own)
        wrong.push_back("its own files are not new:" + difference(m_new.own, now.own));
    for (const auto* state : {&now, &m_new})
        for (const auto& [name, value] : state->followers)
            // Which branch is the other side's HEAD, and where a push has come, the next fetch asks again; git's push says no
            // word about it either.
            if (!name.ends_with("/HEAD") && !(m_operation.pushes && name.starts_with("refs/remotes/origin/")) &&
                (!now.followers.contains(name) || !m_new.followers.contains(name) ||
                 now.followers.at(name) != m_new.followers.at(name)))
                wrong.push_back(name + " is not new");
    return wrong;
}

std::vector<std::string> FaultScene::judgeRest(const SceneState& now, const std::string& said)
{
    std::vector<std::string> wrong;
    const bool cloneOld = now.clone == m_old.clone, cloneNew = now.clone == m_new.clone;
    if (!cloneOld && !cloneNew)
        wrong.push_back("the clone is between: old" + difference(m_old.clone, now.clone) + ", new" +
                        difference(m_new.clone, now.clone));
    if (!isWhole(now.fork, m_old.fork, m_new.fork, m_operation.apart))
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
        // The fetch that settles a push also says which branch the fork's HEAD is, and what stood there before the push.
        if (const std::string value = ofFollower(now, name);
            !name.ends_with("/HEAD") && !(m_operation.pushes && !value.empty() && m_old.fork.contains(value)) &&
            value != ofFollower(m_old, name) && value != ofFollower(m_new, name))
            wrong.push_back("between: " + name + " " + value);
    if ((m_operation.quiet || m_operation.records) &&
        !isWhole(now.own, m_old.own, m_new.own, m_operation.apart || m_operation.records))
        wrong.push_back("its own files are between:" + difference(m_old.own, now.own));
    if (m_operation.rewrites && cloneNew && now.notes != m_new.notes && said.find("not copied") == std::string::npos)
        wrong.push_back("the notes did not follow:" + difference(m_new.notes, now.notes));
    // What is written by the hook itself is its own affair; that it failed has been said then.
    if (m_operation.rewrites && cloneNew && readFile(place() / "hook.log").empty() &&
        said.find("post-rewrite") == std::string::npos)
        wrong.push_back("post-rewrite did not run");
    add(wrong, leftovers(place()));
    add(wrong, lostTips(place(), m_tips));
    add(wrong, unkept(place()));
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

std::vector<std::string> FaultScene::again(const Fault& fault)
{
    reset();
    const Ran ran = perform(fault);
    std::vector<std::string> wrong = judge(ran, fault);
    const bool wasDone = judgeNew(state()).empty();
    const Ran repeated = perform({});
    const std::string told = " {" + oneLine(ran.err) + "} {" + oneLine(repeated.err) + "}";
    if (repeated.hung || repeated.exitCode < 0)
        wrong.push_back("the repetition ended by signal " + std::to_string(repeated.signal));
    if (m_operation.inParts && repeated.exitCode > 0) {
        std::string said = ran.err + repeated.err;
        add(wrong, settle(said));
        add(wrong, judgeRest(state(), said));
        return wrong;
    }
    const SceneState now = state();
    for (const std::string& line : judgeNew(now))
        wrong.push_back("repeated, exit " + std::to_string(repeated.exitCode) + ", but " + line + told);
    add(wrong, judgeRest(now, ran.err + repeated.err));
    // What was finished first cannot be done once more, and then that is said.
    if (repeated.exitCode > 0 && !wasDone && repeated.err.find("ompleted after an interruption") == std::string::npos)
        wrong.push_back("done by a repetition that says that it failed:" + told);
    return wrong;
}

// By the next command, and for a push by the next fetch.
std::vector<std::string> FaultScene::settle(std::string& said)
{
    std::vector<std::string> wrong;
    const Ran recovered = recover();
    said += recovered.err;
    m_recoveryCalls = recovered.calls;
    if (recovered.exitCode != 2 || recovered.err.find("no such entry") == std::string::npos)
        wrong.push_back("the recovery says: " + oneLine(recovered.err));
    // Whether a push arrived only a fetch tells.
    if (m_operation.pushes)
        if (const Ran fetched = run({ESPALIER_FAULT_DRIVER, "fetch", clone().string(), "origin"}, place(), {});
            !fetched.ok())
            wrong.push_back("the fetch after it says: " + oneLine(fetched.err));
    return wrong;
}

std::vector<std::string> FaultScene::judgeDone(const Ran& ran, const Fault& fault)
{
    std::string said = ran.err;
    std::vector<std::string> wrong = settle(said);
    const SceneState now = state();
    add(wrong, judgeRest(now, said));
    // A failure that is one: what is said not to be done is not done. Only who says "may" leaves it open.
    const bool changes = !judgeNew(m_old).empty();
    if (ran.exitCode > 0 && changes && judgeNew(now).empty() && ran.err.find(" may ") == std::string::npos &&
        ran.err.find("be removed") == std::string::npos && ran.err.find("Half done") == std::string::npos)
        wrong.push_back("says that it failed, but it is done: " + oneLine(ran.err));
    // And it can be done now.
    if (now.clone == m_old.clone && now.fork == m_old.fork && now.followers == m_old.followers &&
        (!m_operation.quiet || now.own == m_old.own) && changes && fault.at % 7 == 0) {
        const Ran again = perform({});
        if (!again.ok())
            wrong.push_back("it cannot be repeated: " + oneLine(again.err));
        for (const std::string& line : judgeNew(state()))
            wrong.push_back("repeated, but " + line);
    }
    return wrong;
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
