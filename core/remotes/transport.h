// SPDX-License-Identifier: MIT
//
// The way to a remote: looked at, fetched from, pushed to. There are two: the installed git, with all that the user has
// configured (ssh, proxies, certificates, credentials, shallow clones, hooks of a repository on disk); and, where no git is
// installed, libgit2's own transports. openTransport() chooses. What may be written here or there is not decided here. Private
// to core/remotes.
//
//     auto way = openTransport(repository, "origin", access, progress);
//     auto seen = (*way)->look();
//     Sent sent = (*way)->send(0, {{"refs/heads/topic/x", old, now}});
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"
#include "core/remotes/access.h"
#include "core/remotes/fetch_plan.h"

#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace espalier {

// What a remote shows.
struct Advertisement {
    Advertised refs;
    std::string defaultBranch; // what its HEAD points at, a full name; empty: not told
};

// What became of a ref in a push, as the push itself tells.
struct RefAnswer {
    enum class Kind {
        Unknown,      // nothing was said about it: it may have arrived or not
        Taken,        // also when it stood there already
        RefusedHere,  // it moved, or its name cannot be: nothing was sent for it
        RefusedThere, // the other side said no
    };
    Kind kind = Kind::Unknown;
    std::string reason; // for a refusal; not made safe to show
};

struct Sent {
    std::map<std::string, RefAnswer> answers; // by full name on the remote; missing: Unknown
    std::optional<Error> error;               // why it did not go through, where that is known
    bool allOrNothing = false;
    bool nothingSent = false; // the other side was not asked to move anything: it cannot have taken it
    RefAnswer answer(const std::string& ref) const
    {
        const auto at = answers.find(ref);
        return at == answers.end() ? RefAnswer{} : at->second;
    }
};

class Transport {
  public:
    virtual ~Transport() = default;

    // Where it fetches from, without secrets.
    virtual std::string address() const = 0;
    // All that the remote shows. Errors: Network, Cancelled, NotFound.
    virtual Result<Advertisement> look() = 0;
    // Brings what these refs of the remote stood at, and all that it needs. Writes no ref, no tag and no FETCH_HEAD, prunes
    // nothing. Errors: Network, Cancelled; also when one of them moved since and the other side does not give out its old commits.
    virtual Result<void> get(const std::vector<WantedRef>& refs) = 0;
    // Whether all of them are here with all that they need; what a ref of the repository reaches counts as here.
    virtual Result<bool> areComplete(const std::set<Oid>& ids) = 0;

    // Where it pushes to, one or more, without secrets. Errors: as look().
    virtual Result<std::vector<std::string>> pushAddresses() = 0;
    // The refs of these names there, now. `side` counts the addresses.
    virtual Result<Advertised> lookWhereItPushes(std::size_t side, const std::vector<std::string>& refs) = 0;
    // Moves the refs there from `old` to `now` (zero: not there), each only from `old`; together or not at all where the other
    // side can do that. Runs no hook of this repository's.
    virtual Sent send(std::size_t side, const std::vector<RefMove>& moves) = 0;

    // What the other side and its hooks have said since, safe to show.
    virtual std::vector<std::string> takeSaid() = 0;
    // For the user, when settings of theirs do not hold on this way; else empty.
    virtual std::string notice() const { return {}; }
};

// `access` and `progress` outlive it. Errors: NotFound for a remote that does not exist.
Result<std::unique_ptr<Transport>> openTransport(const Repository& repository, const std::string& remote,
                                                 const Access& access, const Progress& progress);

// Clones into `folder`, which is absent or empty. What a failure leaves behind is the caller's to clear away.
Result<void> cloneInto(const std::string& url, const std::filesystem::path& folder, const Access& access,
                       const Progress& progress);

// The folder that an address names on this machine, a path or file://, relative ones from the top of the worktree; empty where it
// names another machine. The folder need not be there.
// Source: git-fetch(1), "GIT URLS": a path unless there is a scheme, or a host before the first slash.
std::filesystem::path folderOfAddress(const Repository& repository, const std::string& address);

// The two ways. The git way's functions are called only when hasGit().
Result<std::unique_ptr<Transport>> openGitTransport(const Repository& repository, const std::string& remote,
                                                    const Access& access, const Progress& progress);
Result<std::unique_ptr<Transport>> openLibgitTransport(const Repository& repository, const std::string& remote,
                                                       const Access& access, const Progress& progress);
Result<void> cloneByGit(const std::string& url, const std::filesystem::path& folder, const Access& access,
                        const Progress& progress);
Result<void> cloneByLibgit(const std::string& url, const std::filesystem::path& folder, const Access& access,
                           const Progress& progress);

} // namespace espalier
