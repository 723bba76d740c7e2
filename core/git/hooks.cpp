// SPDX-License-Identifier: MIT
#include "core/git/hooks.h"

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
    if (const auto configured = repository.config("core.hookspath"); configured && !configured->empty()) {
        const char* home = std::getenv("HOME");
        folder = configured->starts_with("~/") && home ? fs::path(home) / configured->substr(2) : fs::path(*configured);
        if (folder.is_relative())
            folder = folderOf(repository) / folder; // relative to where hooks run (git-config(1))
    }
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
    if (!ended)
        return std::unexpected(ended.error());
    return HookRun{true, ended->exitCode, ended->lastWords()};
}

Result<void> runPrePush(const Repository& repository, const std::string& remote, const std::string& url,
                        const std::vector<HookRef>& refs, const Progress& progress)
{
    std::string input;
    for (const HookRef& ref : refs)
        input += ref.source + ' ' + ref.sourceId.hex() + ' ' + ref.target + ' ' + ref.targetId.hex() + '\n';
    const auto ended = runHook(repository, "pre-push", {remote, url}, input, progress);
    if (!ended)
        return std::unexpected(ended.error());
    if (ended->exitCode != 0)
        return fail(ErrorKind::Refused,
                    "Your pre-push hook refused the push" +
                        (ended->lastWords.empty() ? "" : " [" + ended->lastWords + "]"),
                    remote, "Nothing was pushed; do what the hook asks for");
    return {};
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
