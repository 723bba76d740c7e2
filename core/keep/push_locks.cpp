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

// The entry's mark was made when the entry was begun: on the same disk, and so by the same clock.
bool isOfPush(const fs::path& lock, const fs::path& mark, const Oid& now, Holds expected)
{
    struct stat status{}, begun{};
    if (::lstat(lock.c_str(), &status) != 0 || !S_ISREG(status.st_mode) || ::lstat(mark.c_str(), &begun) != 0 ||
        status.st_dev != begun.st_dev || isOlder(status.st_mtim, begun.st_mtim))
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

void remove(const fs::path& lock, std::vector<std::string>& lines)
{
    if (removeSurely(lock) == 0)
        lines.push_back("A lock that a push had left behind was removed: " + displayText(lock.string(), 500));
}

} // namespace

void removePushLocks(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& lines)
{
    const fs::path mark = openMark(repository, entry.id);
    for (const RefMove& move : entry.moves) {
        const std::string tracking = std::string(trackingPrefix) + entry.remote + '/' + shortBranchName(move.name);
        // A name that is none leads out of the folder of refs.
        if (!move.name.starts_with(headsPrefix) || !isRefName(tracking))
            continue;
        const fs::path lock = repository.commonDir() / (tracking + ".lock");
        if (isOfPush(lock, mark, move.now, Holds::Tip) && isAbandoned(repository, lock))
            remove(lock, lines);
    }
}

void removePushLocksIn(const fs::path& fork, const Repository& repository, const LogbookEntry& entry,
                       std::vector<std::string>& lines)
{
    const auto other = Repository::open(fork);
    if (!other)
        return;
    const fs::path mark = openMark(repository, entry.id), folder = other->commonDir();
    const auto look = [&](const std::string& name, const Oid& now, Holds expected) {
        const fs::path lock = folder / (name + ".lock");
        if (isOfPush(lock, mark, now, expected) && isAbandoned(*other, lock))
            remove(lock, lines);
    };
    for (const RefMove& move : entry.moves) {
        if (!move.name.starts_with(headsPrefix) || !isRefName(move.name))
            continue;
        look(move.name, move.now, Holds::Tip);
        look("HEAD", move.now, Holds::Tip);
        if (move.now.isZero())
            look("packed-refs", move.now, Holds::Anything);
    }
}

} // namespace espalier
