// SPDX-License-Identifier: MIT
#include "core/keep/push_locks.h"

#include "core/git/files.h"
#include "core/git/lock_files.h"
#include "core/git/process_marks.h"
#include "core/git/text.h"
#include "core/keep/open_entries.h"
#include "core/refs/ref_name.h"

#include <sys/stat.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

bool isOlder(const timespec& a, const timespec& b)
{
    return std::pair(a.tv_sec, a.tv_nsec) < std::pair(b.tv_sec, b.tv_nsec);
}

// Tip: as much of it as was written.
enum class Holds { Tip, Anything };

// The entry's mark was made when the entry was begun: on the same disk, and so by the same clock. Another user's git is not seen
// at work (isGitAtWork), so its locks are no matter of ours.
bool isOfPush(const fs::path& lock, const fs::path& mark, const Oid& now, Holds expected)
{
    struct stat status{}, begun{};
    if (::lstat(lock.c_str(), &status) != 0 || !S_ISREG(status.st_mode) || ::lstat(mark.c_str(), &begun) != 0 ||
        status.st_dev != begun.st_dev || status.st_uid != begun.st_uid || isOlder(status.st_mtim, begun.st_mtim))
        return false;
    if (expected == Holds::Anything)
        return true;
    constexpr std::size_t most = 100;
    const auto holds = readFileBounded(lock, most);
    // git writes the id and the line end one after the other.
    return holds && (holds->empty() || (!now.isZero() && (now.hex() + '\n').starts_with(*holds)));
}

// Whether nobody can be at work with it any more. Looked at last: a lock that was there before nobody was left is nobody's.
bool isAbandoned(const Repository& holder, const fs::path& lock)
{
    return isGitAtWork(holder) == false && lockHolder(lock).empty();
}

// One place where a killed git of the push may have left locks: the refs that it moved there, by their names there.
class Leavings {
  public:
    Leavings(const Repository& holder, fs::path mark, std::vector<std::string>& lines)
        : m_holder(holder), m_mark(std::move(mark)), m_lines(lines)
    {
    }

    void look(const std::string& name, const Oid& now)
    {
        // A name that is none leads out of the folder of refs.
        if (name == "HEAD" || isRefName(name))
            removeIfOurs(m_holder.commonDir() / (name + ".lock"), now, Holds::Tip);
        if (now.isZero())
            removeIfOurs(m_holder.commonDir() / "packed-refs.lock", now, Holds::Anything);
    }

    // Of the upkeep that git starts where it has received something: a lock of it that stays ends all upkeep there.
    void lookAtUpkeep() { removeIfOurs(m_holder.commonDir() / "objects/maintenance.lock", {}, Holds::Anything); }

  private:
    void removeIfOurs(const fs::path& lock, const Oid& now, Holds expected)
    {
        if (!isOfPush(lock, m_mark, now, expected) || !isAbandoned(m_holder, lock))
            return;
        // git writes packed-refs anew beside it, and not at all where that file is there already. Whoever has the lock owns it.
        if (const fs::path anew = fs::path(lock).replace_extension(".new"); lock.filename() == "packed-refs.lock")
            (void)removeSurely(anew);
        if (removeSurely(lock) == 0)
            m_lines.push_back("A lock that a push had left behind was removed: " + displayText(lock.string(), 500));
    }

    const Repository& m_holder;
    fs::path m_mark;
    std::vector<std::string>& m_lines;
};

} // namespace

void removePushLocks(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& lines)
{
    const fs::path mark = openMark(repository, entry.id);
    Leavings here(repository, mark, lines);
    for (const RefMove& move : entry.moves)
        if (move.name.starts_with(headsPrefix))
            here.look(std::string(trackingPrefix) + entry.remote + '/' + shortBranchName(move.name), move.now);
    for (const std::string& folder : entry.folders) {
        const auto other = Repository::open(folder);
        if (!other)
            continue;
        Leavings there(*other, mark, lines);
        for (const RefMove& move : entry.moves) {
            if (!move.name.starts_with(headsPrefix))
                continue;
            there.look(move.name, move.now);
            there.look("HEAD", move.now);
        }
        there.lookAtUpkeep();
    }
}

} // namespace espalier
