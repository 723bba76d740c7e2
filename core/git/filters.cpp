// SPDX-License-Identifier: MIT
#include "core/git/filters.h"

#include "core/git/handles.h"
#include "core/git/process.h"

#include <git2/sys/errors.h>
#include <git2/sys/filter.h>

namespace espalier {

namespace {

// libgit2 hands a filter no more than the file.
thread_local std::stop_token stopOfThread;

std::string setting(git_config* config, const std::string& filter, const char* name)
{
    Buffer value;
    const std::string key = "filter." + filter + "." + name;
    return git_config_get_string_buf(&value, config, key.c_str()) == 0 ? value.str() : std::string();
}

// What one file goes through; libgit2 keeps it between check and cleanup.
struct Driver {
    std::string name;
    std::string command;
    bool isRequired = false;
};

int checkFilter(git_filter*, void** payload, const git_filter_source* source, const char** attributes)
{
    git_repository* repository = git_filter_source_repo(source);
    const char* name = attributes ? attributes[0] : nullptr;
    if (!repository || git_attr_value(name) != GIT_ATTR_VALUE_STRING)
        return GIT_PASSTHROUGH;
    Handle<git_config> config;
    if (git_repository_config(out(config), repository) < 0)
        return GIT_PASSTHROUGH;
    Driver driver{name, setting(config.get(), name,
                                git_filter_source_mode(source) == GIT_FILTER_TO_WORKTREE ? "smudge" : "clean")};
    int isRequired = 0;
    git_config_get_bool(&isRequired, config.get(), ("filter." + driver.name + ".required").c_str());
    driver.isRequired = isRequired != 0;
    if (driver.command.empty())
        return GIT_PASSTHROUGH;
    *payload = new Driver(std::move(driver));
    return 0;
}

void cleanUpFilter(git_filter*, void* payload) { delete static_cast<Driver*>(payload); }

// The command line with %f as the path and %% as a per cent sign (gitattributes(5)).
std::string expanded(const std::string& command, const char* path)
{
    std::string text;
    for (std::size_t i = 0; i < command.size(); ++i) {
        if (command[i] != '%' || i + 1 == command.size()) {
            text += command[i];
        } else if (command[i + 1] == 'f') {
            text += shellQuoted(path ? path : "");
            ++i;
        } else {
            text += command[i];
            i += command[i + 1] == '%';
        }
    }
    return text;
}

int applyFilter(git_filter*, void** payload, git_buf* to, const git_buf* from, const git_filter_source* source)
{
    const Driver& driver = *static_cast<const Driver*>(*payload);
    const char* workdir = git_repository_workdir(git_filter_source_repo(source));
    ProcessRequest request{.argv = shellCommand(expanded(driver.command, git_filter_source_path(source)))};
    request.folder = workdir ? workdir : git_repository_path(git_filter_source_repo(source));
    request.input.assign(from->ptr ? from->ptr : "", from->size);
    request.outputLimit = std::size_t(4) << 30;
    request.stop = stopOfThread;
    const auto ended = run(request);
    if (ended && ended->ok())
        return git_buf_set(to, ended->out.data(), ended->out.size());
    const bool wasStopped = !ended && ended.error().kind == ErrorKind::Cancelled;
    if (!driver.isRequired && !wasStopped)
        return GIT_PASSTHROUGH; // as git: the contents go through as they are
    const std::string words = ended ? ended->lastWords() : ended.error().what;
    git_error_set_str(GIT_ERROR_FILTER, ("the filter '" + driver.name + "' failed: " + words).c_str());
    return -1;
}

} // namespace

StoppableFilters::StoppableFilters(std::stop_token stop) { stopOfThread = std::move(stop); }
StoppableFilters::~StoppableFilters() { stopOfThread = {}; }

void registerFilters()
{
    static git_filter filter = [] {
        git_filter made = GIT_FILTER_INIT;
        made.attributes = "filter=*";
        made.check = checkFilter;
        made.apply = applyFilter;
        made.cleanup = cleanUpFilter;
        return made;
    }();
    git_filter_register("espalier-commands", &filter, GIT_FILTER_DRIVER_PRIORITY);
}

Result<std::vector<std::string>> filteredPaths(const Repository& repository, const std::vector<std::string>& paths)
{
    std::vector<std::string> held;
    if (repository.isBare())
        return held;
    Handle<git_config> config;
    if (git_repository_config(out(config), raw(repository)) < 0)
        return libgitError("The configuration cannot be read", repository.gitDir().string(), "Check git config --list");
    std::map<std::string, bool> known; // by filter: the program cannot run it
    for (const std::string& path : paths) {
        const char* value = nullptr;
        if (git_attr_get(&value, raw(repository), GIT_ATTR_CHECK_FILE_THEN_INDEX, path.c_str(), "filter") < 0)
            return libgitError("The attributes of a file cannot be read", path, "Check the .gitattributes files");
        if (git_attr_value(value) != GIT_ATTR_VALUE_STRING)
            continue;
        const auto [at, isNew] = known.try_emplace(value, false);
        if (isNew) {
            const auto has = [&](const char* name) { return !setting(config.get(), value, name).empty(); };
            at->second = has("process") && !(has("clean") && has("smudge"));
        }
        if (at->second)
            held.push_back(path);
    }
    return held;
}

} // namespace espalier
