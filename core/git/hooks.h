// SPDX-License-Identifier: MIT
//
// Runs the user's hooks at the points where git would (githooks(5)). They are the user's own programs: from
// core.hooksPath or the git directory, never from what a commit brings.
//
//     if (auto allowed = runPrePush(repository, "origin", url, refs); !allowed)
//         return std::unexpected(allowed.error());
#pragma once

#include "core/git/error.h"
#include "core/git/oid.h"
#include "core/git/progress.h"
#include "core/git/repository.h"

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace espalier {

struct HookRun {
    bool ran = false; // false: there is no such hook, or it is not executable
    int exitCode = 0;
    std::string lastWords; // of its standard output and of its standard error, made safe to show
};

// Where the hook is; empty when there is none that may be executed.
std::filesystem::path hookPath(const Repository& repository, const std::string& name);

// Runs it in the worktree's root (a bare repository's folder) and waits, telling `progress` that it runs. A hook that fails
// is a result. Errors: NotFound, Storage (it cannot be started), Cancelled (it was stopped, or never begun).
Result<HookRun> runHook(const Repository& repository, const std::string& name,
                        const std::vector<std::string>& arguments, const std::string& input,
                        const Progress& progress = {});

// A ref that is about to be pushed; zero ids stand for "does not exist".
struct HookRef {
    std::string source; // of the clone; "(delete)" for a deletion
    Oid sourceId;
    std::string target; // on the remote
    Oid targetId;
};
// Errors: Refused with the hook's last words when it says no; nothing was pushed then.
Result<void> runPrePush(const Repository& repository, const std::string& remote, const std::string& url,
                        const std::vector<HookRef>& refs, const Progress& progress = {});

// Before a replay of `branch` onto `upstream`, by the names that people use. Errors: Refused with the hook's last words when
// it says no; NotFound, Storage, Cancelled as runHook().
Result<void> runPreRebase(const Repository& repository, const std::string& upstream, const std::string& branch,
                          const Progress& progress = {});

// The hook reference-transaction, which is told of refs before they move, may refuse, and is told what became of it.
//
//     auto transaction = RefTransactionHook::prepare(repository, "OLD NEW refs/heads/x\n", progress);
//     … move them …
//     transaction->committed()
class RefTransactionHook {
  public:
    // `lines`: a line a ref, as githooks(5) has them; the refs are locked. Errors: Refused when the hook says no.
    static Result<RefTransactionHook> prepare(const Repository& repository, std::string lines,
                                              const Progress& progress = {});
    RefTransactionHook(RefTransactionHook&& other) noexcept;
    RefTransactionHook& operator=(RefTransactionHook&&) = delete;
    // Tells the hook that nothing came of it, unless committed() was called.
    ~RefTransactionHook();
    // Returns as runPostRewrite().
    std::string committed();

  private:
    RefTransactionHook(const Repository& repository, std::string lines)
        : m_repository(&repository), m_lines(std::move(lines))
    {
    }
    const Repository* m_repository; // null once it has been told
    std::string m_lines;
};

// After a replay was applied: git's "rebase" rewrite, old and new commit each. Returns a line for the user when the hook
// failed or was stopped, else nothing: what it says changes nothing any more.
std::string runPostRewrite(const Repository& repository, const std::vector<std::pair<Oid, Oid>>& pairs,
                           const Progress& progress = {});
// After the worktree moved; `isBranch` as githooks(5) says. Returns as runPostRewrite().
std::string runPostCheckout(const Repository& repository, const Oid& before, const Oid& now, bool isBranch,
                            const Progress& progress = {});

} // namespace espalier
