// SPDX-License-Identifier: MIT
#include "tests/faults/random_rounds.h"

#include "tests/faults/fault_scene.h"

#include <algorithm>
#include <ctime>
#include <map>
#include <random>
#include <set>
#include <sstream>

namespace espalier::test {

namespace fs = std::filesystem;

namespace {

// Of the maintenance that git starts in the background where it has received something: it holds up nothing but the next
// maintenance, and whose it was nobody can tell.
const std::string maintenanceLock = "objects/maintenance.lock";

class RandomScene {
  public:
    RandomScene(fs::path root, std::uint64_t seed) : m_root(std::move(root)), m_random(seed)
    {
        std::error_code ignored;
        fs::remove_all(m_root, ignored);
        buildBase(place());
        see();
    }
    ~RandomScene()
    {
        std::error_code ignored;
        fs::remove_all(m_root, ignored);
    }
    RandomScene(const RandomScene&) = delete;

    // What was done, and what is wrong after it.
    std::string step(RandomReport& report)
    {
        ++report.operations;
        if (below(4) == 0) {
            const std::string command = gitCommand();
            (void)run({"sh", "-c", command}, clone());
            see();
            return command;
        }
        const auto words = operation();
        const std::string kind = words[1];
        if (kind == "forget" || kind == "logbook")
            letGo(words.back());
        const Fault fault = randomFault(kind);
        std::string told;
        for (const std::string& word : words)
            told += (word.starts_with('/') ? fs::path(word).filename().string() : word) + ' ';
        told += fault.kind.empty() ? "" : "with " + fault.kind + " at " + std::to_string(fault.at);
        const Ran ran = run(words, place(), fault);
        report.faults += ran.fired ? 1 : 0;
        m_calls[kind] = std::max(m_calls[kind], ran.calls);
        if (ran.hung || (ran.exitCode < 0 && fault.kind != "kill" && fault.kind != "cut"))
            report.wrong.push_back("ended by signal " + std::to_string(ran.signal));
        // The first recovery may be stopped too.
        if (below(4) == 0) {
            const Fault again = randomFault("the recovery");
            const Ran stopped = recover(again);
            m_calls["the recovery"] = std::max(m_calls["the recovery"], stopped.calls);
            told += ", then " + again.kind + " at " + std::to_string(again.at) + " of the recovery";
        }
        check(report, told, ran);
        see();
        return told;
    }

    // At the end of a row nothing may be open any more, and everything must go on.
    void last(RandomReport& report)
    {
        const Ran updated = run({ESPALIER_PROGRAM, "update", clone().string()}, place(), {.below = {}, .clock = 0});
        if (updated.exitCode != 0 && updated.exitCode != 1)
            report.wrong.push_back("update does not go on: " + updated.err);
        const Ran begun = run({"sh", "-c", "grep -l '\"begun\"' .git/espalier/logbook/*.json"}, clone());
        if (!begun.out.empty())
            report.wrong.push_back("begun for ever: " + begun.out);
        for (std::string& line : leftovers(place()))
            if (!line.ends_with("fork.git/" + maintenanceLock))
                report.wrong.push_back("at the end, " + line);
        for (std::string& line : soundness(place()))
            report.wrong.push_back(std::move(line));
    }

  private:
    fs::path place() const { return m_root / "scene"; }
    fs::path clone() const { return place() / "clone"; }
    std::size_t below(std::size_t bound) { return bound == 0 ? 0 : std::size_t(m_random() % bound); }
    template <typename List> auto oneOf(const List& list) { return list[below(list.size())]; }

    std::vector<std::string> lines(const std::string& script)
    {
        std::vector<std::string> found;
        std::istringstream in(run({"sh", "-c", script}, clone()).out);
        for (std::string line; std::getline(in, line);)
            found.push_back(line);
        if (found.empty())
            found.emplace_back("none");
        return found;
    }
    std::string branch()
    {
        return oneOf(lines("git for-each-ref --format='%(refname:lstrip=2)' refs/heads | grep -v '^main$'"));
    }

    std::string gitCommand()
    {
        const std::string number = std::to_string(m_random() % 100000);
        const std::vector<std::string> all{
            "printf '" + number + "\\n' >made-" + number + ".txt; git add made-" + number +
                ".txt; git commit --quiet -m 'Made " + number + "'",
            "printf '" + number + "\\n' >>dir/c.txt; git commit --quiet -m 'Changed " + number + "' dir/c.txt",
            "git gc --quiet --prune=now",
            "git pack-refs --all --prune",
            "git branch --quiet made/" + number + " " + branch(),
            "printf '" + number + "\\n' >>keep.txt",
            "git --git-dir=../fork.git update-ref refs/heads/topic/x $(git --git-dir=../fork.git -c user.name=O -c "
            "user.email=o@example.org commit-tree -p topic/x -m " +
                number + " topic/x^{tree})",
            "git --git-dir=../upstream.git update-ref refs/heads/main $(git --git-dir=../upstream.git -c user.name=O "
            "-c "
            "user.email=o@example.org commit-tree -p main -m " +
                number + " main^{tree})",
        };
        return oneOf(all);
    }

    std::vector<std::string> operation()
    {
        const std::string path = clone().string(), me = ESPALIER_PROGRAM, driver = ESPALIER_FAULT_DRIVER;
        const std::string number = std::to_string(m_random() % 100000);
        switch (below(20)) {
        case 0:
        case 1:
        case 2:
            return {me,
                    "replay",
                    path,
                    "--branch",
                    branch(),
                    "--onto",
                    oneOf(std::vector<std::string>{"upstream/main", "main", "upstream/main~1"}),
                    "--settle",
                    oneOf(std::vector<std::string>{"new-base", "your-commit", "your-commit-first"})};
        case 3:
            return {me, "update", path};
        case 4:
            return {me, "push", path, "--branch", branch()};
        case 5: {
            const std::string pushed = branch();
            return {me, "push", path, "--branch", pushed, "--expect", onFork(pushed)};
        }
        case 9: {
            const std::string one = branch(), other = branch();
            return {me, "push", path, "--together", one + ":" + onFork(one) + " " + other + ":" + onFork(other)};
        }
        case 6:
        case 7:
            return {me, "restore", path, entry()};
        case 8:
            return {driver, "check-out", path, branch()};
        case 10:
        case 11:
            return {driver, "fetch", path, oneOf(std::vector<std::string>{"origin", "upstream"})};
        case 12:
        case 13:
            return {driver, "delete", path, branch()};
        case 14:
            return {driver, "clean-up", path, oneOf(std::vector<std::string>{"landed", branch()})};
        case 15:
            return {driver, "forget", path, entry()};
        case 16:
            return {me, "logbook", path, "--forget", entry()};
        case 17:
            return {driver, "rename", path, branch(), "renamed/" + number};
        default:
            return {driver, "create", path, "created/" + number, branch()};
        }
    }

    std::string entry()
    {
        return oneOf(lines("ls .git/espalier/logbook/*.json | sed 's,.*/,,; s,.json,,' | tail -n 6"));
    }
    std::string onFork(const std::string& branch)
    {
        const std::string tip =
            lines("git --git-dir=../fork.git rev-parse --verify --quiet refs/heads/" + branch).front();
        return tip == "none" ? std::string(40, '0') : tip;
    }

    // What only that entry keeps may be gone from now on.
    void letGo(const std::string& entry)
    {
        const auto reached = lines("git rev-list --exclude='refs/espalier/kept/" + entry +
                                   "/*' --all; git --git-dir=../fork.git rev-list --all; git "
                                   "--git-dir=../upstream.git rev-list --all");
        const std::set<std::string> stay(reached.begin(), reached.end());
        std::erase_if(m_tips, [&](const std::string& tip) { return !stay.contains(tip); });
    }

    // At one of as many calls as the operation was seen to make.
    Fault randomFault(const std::string& kind)
    {
        static const std::vector<std::string> kinds{"kill",        "kill",        "kill", "cut",    "fail:EIO",
                                                    "fail:ENOSPC", "fail:EACCES", "full", "broken", "tear:ENOSPC"};
        if (below(5) == 0)
            return {.below = {}, .kind = {}};
        return {.below = place(),
                .at = 1 + unsigned(below(std::max(40U, m_calls[kind]))),
                .kind = oneOf(kinds),
                .clock = 0};
    }

    Ran recover(const Fault& fault = {})
    {
        return run({ESPALIER_PROGRAM, "restore", clone().string(), "20200101-000000-1"}, place(), fault);
    }

    void see()
    {
        for (std::string& tip : allTips(place()))
            m_tips.insert(std::move(tip));
        m_keep = readFile(clone() / "keep.txt");
    }

    void check(RandomReport& report, const std::string& told, const Ran& ran)
    {
        const auto wrong = [&](const std::string& line) {
            report.wrong.push_back(told + ": " + line + " {" + ran.err + "}");
        };
        const Ran recovered = recover();
        if (recovered.exitCode != 2 || recovered.err.find("no such entry") == std::string::npos)
            wrong("the recovery says " + recovered.err);
        for (const std::string& line : lostTips(place(), {m_tips.begin(), m_tips.end()}))
            wrong(line);
        for (const std::string& line : leftovers(place()))
            // Whether a push arrived only the next talk with the fork tells.
            if (!line.ends_with(".open") && !line.ends_with("fork.git/" + maintenanceLock))
                wrong(line);
        if (readFile(clone() / "keep.txt") != m_keep || readFile(clone() / "untracked.txt") != "untracked\n" ||
            readFile(clone() / "ignored.o") != "ignored\n")
            wrong("a local file is not as it was");
        const Ran status = run({"git", "status", "--porcelain", "-uall"}, clone());
        std::istringstream in(status.out);
        for (std::string line; std::getline(in, line);)
            if (!line.ends_with(" keep.txt") && !line.ends_with(" staged.txt") && !line.ends_with(" untracked.txt"))
                wrong("the worktree is mixed: " + line);
        if (!status.ok())
            wrong("git status fails: " + status.err);
        if (report.operations % 8 == 0)
            for (const std::string& line : soundness(place()))
                wrong(line);
    }

    fs::path m_root;
    std::mt19937_64 m_random;
    std::set<std::string> m_tips;
    std::map<std::string, unsigned> m_calls; // of each kind of operation, the most until now
    std::string m_keep;
};

} // namespace

RandomReport randomOperations(const fs::path& root, std::size_t count, std::uint64_t seed)
{
    RandomReport report;
    RandomScene scene(root, seed);
    std::vector<std::string> done;
    for (std::size_t i = 0; i < count && report.wrong.empty(); ++i)
        done.push_back(scene.step(report));
    if (report.wrong.empty())
        scene.last(report);
    if (!report.wrong.empty())
        for (std::size_t i = done.size() > 6 ? done.size() - 6 : 0; i < done.size(); ++i)
            report.wrong.push_back("    after: " + done[i]);
    return report;
}

} // namespace espalier::test
