// SPDX-License-Identifier: MIT
#include "core/keep/push_locks.h"

#include "core/git/files.h"
#include "core/git/handles.h"
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

// The entry's mark was made when the entry was begun: on the same disk, and so by the same clock.
bool isOfPush(const fs::path& lock, const fs::path& mark, const Oid& now)
{
    struct stat status{}, begun{};
    if (::lstat(lock.c_str(), &status) != 0 || !S_ISREG(status.st_mode) || ::lstat(mark.c_str(), &begun) != 0 ||
        isOlder(status.st_mtim, begun.st_mtim))
        return false;
    constexpr std::size_t most = 100;
    const auto holds = readFileBounded(lock, most);
    return holds && (holds->empty() || (!now.isZero() && *holds == now.hex() + '\n'));
}

} // namespace

void removePushLocks(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& lines)
{
    for (const RefMove& move : entry.moves) {
        const std::string tracking = std::string(trackingPrefix) + entry.remote + '/' + shortBranchName(move.name);
        // A name that is none leads out of the folder of refs.
        int valid = 0;
        if (!move.name.starts_with(headsPrefix) || git_reference_name_is_valid(&valid, tracking.c_str()) < 0 || !valid)
            continue;
        const fs::path lock = repository.commonDir() / (tracking + ".lock");
        if (!isOfPush(lock, openMark(repository, entry.id), move.now))
            continue;
        // Looked at last: a lock that was there before nobody was left is nobody's.
        if (isGitAtWork(repository) != false || !lockHolder(lock).empty())
            return;
        if (removeSurely(lock) == 0)
            lines.push_back("A lock that a push had left behind was removed: " + displayText(lock.string(), 500));
    }
}

} // namespace espalier
