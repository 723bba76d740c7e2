// SPDX-License-Identifier: MIT
#include "tests/faults/fault_scene.h"
#include "tests/faults/fault_text.h"

#include <set>

namespace espalier::test {

namespace fs = std::filesystem;

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

std::vector<std::string> unkept(const fs::path& place)
{
    // A log is begun before its ref, by git too, and stays when that is the last that is done: only where an entry could tell of
    // it somebody had to clear it away.
    static const std::string script = R"(
kept=$(git for-each-ref --format='%(refname)' refs/espalier/kept | cut -d/ -f4 | sort -u)
for id in $kept; do [ -e .git/espalier/logbook/$id.json ] || echo kept without an entry: $id; done
for entry in $(grep -l '"old": "' .git/espalier/logbook/*.json 2>/dev/null); do
    id=$(basename $entry .json)
    case " $(echo $kept) " in *" $id "*) ;; *) echo an entry that keeps nothing: $id ;; esac
done
refs=$(git for-each-ref --format='%(refname)')
for log in $(cd .git/logs && find refs -type f); do
    case " $(echo $refs) " in *" $log "*) continue ;; esac
    grep -q "\"$log\"" .git/espalier/logbook/*.json 2>/dev/null && echo a log of no ref: $log
done
)";
    return linesOf(capture(script, place / "clone"));
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

} // namespace espalier::test
