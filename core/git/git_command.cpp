// SPDX-License-Identifier: MIT
#include "core/git/git_command.h"

#include <charconv>
#include <cstdlib>
#include <mutex>

namespace espalier {

namespace {

constexpr int oldestMajor = 2, oldestMinor = 31;

// "git version 2.47.3": what stands behind the second blank.
bool isNewEnough(std::string_view said)
{
    constexpr std::string_view start = "git version ";
    if (!said.starts_with(start))
        return false;
    said.remove_prefix(start.size());
    int major = 0, minor = 0;
    const char* const end = said.data() + said.size();
    const auto first = std::from_chars(said.data(), end, major);
    if (first.ec != std::errc{} || first.ptr == end || *first.ptr != '.')
        return false;
    if (std::from_chars(first.ptr + 1, end, minor).ec != std::errc{})
        return false;
    return major > oldestMajor || (major == oldestMajor && minor >= oldestMinor);
}

// Behind what the user has put there already (git-config(1), GIT_CONFIG_COUNT).
void addConfig(const GitRequest& request, std::map<std::string, std::optional<std::string>>& environment)
{
    if (request.config.empty())
        return;
    const char* const there = std::getenv("GIT_CONFIG_COUNT");
    int count = 0;
    if (there)
        std::from_chars(there, there + std::string_view(there).size(), count);
    for (const auto& [key, value] : request.config) {
        const std::string number = std::to_string(count++);
        environment["GIT_CONFIG_KEY_" + number] = key;
        environment["GIT_CONFIG_VALUE_" + number] = value;
    }
    environment["GIT_CONFIG_COUNT"] = std::to_string(count);
}

} // namespace

bool hasGit()
{
    static std::mutex mutex;
    static std::map<std::string, bool> known;
    const char* const path = std::getenv("PATH");
    const std::lock_guard guard(mutex);
    const auto [at, fresh] = known.emplace(path ? path : "", false);
    if (fresh) {
        const auto said = run({.argv = {"git", "version"}, .outputLimit = 4096});
        at->second = said && said->ok() && isNewEnough(said->out);
    }
    return at->second;
}

Result<ProcessResult> runGit(const GitRequest& request, const std::function<void(std::string_view)>& heard)
{
    ProcessRequest process{.argv = {"git"}, .environment = request.environment};
    process.argv.insert(process.argv.end(), request.arguments.begin(), request.arguments.end());
    process.environment.emplace("LC_ALL", "C");
    process.environment.emplace("LANGUAGE", "C");
    if (request.repository) {
        const bool bare = request.repository->isBare();
        process.folder = bare ? request.repository->gitDir() : request.repository->workDir();
        // A bare repository may be one that git does not look for by itself (safe.bareRepository).
        if (bare)
            process.environment.emplace("GIT_DIR", request.repository->gitDir().string());
    }
    addConfig(request, process.environment);
    process.input = request.input;
    process.stop = request.stop;
    process.outputLimit = std::size_t(512) << 20;
    process.interactive = request.interactive;
    return run(process, heard);
}

} // namespace espalier
