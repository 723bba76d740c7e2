// SPDX-License-Identifier: MIT
#include "core/git/hooks.h"

#include "core/git/config_path.h"
#include "core/git/process.h"

#include <cstdlib>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

fs::path folderOf(const Repository& repository)
{
    return repository.isBare() ? repository.gitDir() : repository.workDir();
}

std::string notice(const std::string& name, const Result<HookRun>& run)
{
    if (!run && run.error().kind == ErrorKind::Cancelled)
        return "The hook " + name + " was stopped; the change itself is done";
    if (!run)
        return "The hook " + name + " could not be run: " + run.error().line();
    if (run->exitCode == 0)
        return {};
    return "The hook " + name + " failed with status " + std::to_string(run->exitCode) +
           (run->lastWords.empty() ? "" : ": " + run->lastWords);
}

} // namespace

fs::path hookPath(const Repository& repository, const std::string& name)
{
    fs::path folder = repository.commonDir() / "hooks";
    // Relative to where hooks run (git-config(1)); an absolute path replaces the left side.
    if (const auto configured = configPath(repository, "core.hookspath"))
        folder = folderOf(repository) / *configured;
    const fs::path path = folder / name;
    std::error_code ignored;
    return fs::is_regular_file(path, ignored) && ::access(path.c_str(), X_OK) == 0 ? path : fs::path();
}

Result<HookRun> runHook(const Repository& repository, const std::string& name,
                        const std::vector<std::string>& arguments, const std::string& input, const Progress& progress)
{
    const fs::path path = hookPath(repository, name);
    if (path.empty())
        return HookRun{};
    if (progress.stopped())
        return cancelled();
    std::vector<std::string> argv{path.string()};
    argv.insert(argv.end(), arguments.begin(), arguments.end());
    progress.report("Running the hook " + name);
    const auto ended =
        run({.argv = std::move(argv), .folder = folderOf(repository), .input = input, .stop = progress.stop});
    if (!ended && ended.error().kind == ErrorKind::NotFound)
        return fail(ErrorKind::NotFound, "The interpreter that a hook names was not found", path.string(),
                    "Correct the hook's first line, or move the hook away");
    if (!ended)
        return std::unexpected(ended.error());
    // git shows both. Reasons mostly stand on standard output, what a failing program says on the other.
    std::string words = ProcessResult{.exitCode = 0, .out = {}, .err = ended->out}.lastWords();
    if (const std::string more = ended->lastWords(); !more.empty() && more != words)
        words += (words.empty() ? "" : "; ") + more;
    return HookRun{true, ended->exitCode, std::move(words)};
}

namespace {

Result<void> refusedBy(const std::string& hook, const Result<HookRun>& run, const std::string& what,
                       const std::string& on, const std::string& remedy)
{
    if (!run)
        return std::unexpected(run.error());
    if (run->exitCode == 0)
        return {};
    return fail(ErrorKind::Refused,
                "Your " + hook + " hook refused " + what + (run->lastWords.empty() ? "" : " [" + run->lastWords + "]"),
                on, remedy);
}

} // namespace

Result<void> runPrePush(const Repository& repository, const std::string& remote, const std::string& url,
                        const std::vector<HookRef>& refs, const Progress& progress)
{
    std::string input;
    for (const HookRef& ref : refs)
        input += ref.source + ' ' + ref.sourceId.hex() + ' ' + ref.target + ' ' + ref.targetId.hex() + '\n';
    return refusedBy("pre-push", runHook(repository, "pre-push", {remote, url}, input, progress), "the push", remote,
                     "Nothing was pushed; do what the hook asks for");
}

Result<void> runPreRebase(const Repository& repository, const std::string& upstream, const std::string& branch,
                          const Progress& progress)
{
    return refusedBy("pre-rebase", runHook(repository, "pre-rebase", {upstream, branch}, {}, progress), "the replay",
                     branch, "Nothing was changed; do what the hook asks for");
}

Result<RefTransactionHook> RefTransactionHook::prepare(const Repository& repository, std::string lines,
                                                       const Progress& progress)
{
    // As git: of nothing it hears nothing.
    if (lines.empty()) {
        RefTransactionHook none(repository, {});
        none.m_repository = nullptr;
        return none;
    }
    const auto run = runHook(repository, "reference-transaction", {"prepared"}, lines, progress);
    const std::string first = lines.substr(0, lines.find('\n'));
    if (auto allowed = refusedBy("reference-transaction", run, "to move a branch", first.substr(first.rfind(' ') + 1),
                                 "Nothing was changed; do what the hook asks for");
        !allowed) {
        // As git does: whoever said no is told that nothing came of it.
        (void)runHook(repository, "reference-transaction", {"aborted"}, lines);
        return std::unexpected(allowed.error());
    }
    return RefTransactionHook(repository, std::move(lines));
}

RefTransactionHook::RefTransactionHook(RefTransactionHook&& other) noexcept
    : m_repository(std::exchange(other.m_repository, nullptr)), m_lines(std::move(other.m_lines))
{
}

RefTransactionHook::~RefTransactionHook()
{
    if (m_repository)
        (void)runHook(*m_repository, "reference-transaction", {"aborted"}, m_lines);
}

std::string RefTransactionHook::committed()
{
    const Repository* const repository = std::exchange(m_repository, nullptr);
    return repository
               ? notice("reference-transaction", runHook(*repository, "reference-transaction", {"committed"}, m_lines))
               : std::string();
}

std::string runPostRewrite(const Repository& repository, const std::vector<std::pair<Oid, Oid>>& pairs,
                           const Progress& progress)
{
    std::string input;
    for (const auto& [before, now] : pairs)
        input += before.hex() + ' ' + now.hex() + '\n';
    return notice("post-rewrite", runHook(repository, "post-rewrite", {"rebase"}, input, progress));
}

std::string runPostCheckout(const Repository& repository, const Oid& before, const Oid& now, bool isBranch,
                            const Progress& progress)
{
    return notice("post-checkout",
                  runHook(repository, "post-checkout", {before.hex(), now.hex(), isBranch ? "1" : "0"}, {}, progress));
}

} // namespace espalier
