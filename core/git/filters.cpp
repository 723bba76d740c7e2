// SPDX-License-Identifier: MIT
#include "core/git/filters.h"

#include "core/git/handles.h"
#include "core/git/process.h"

#include <git2/sys/errors.h>
#include <git2/sys/filter.h>

#include <cerrno>
#include <iconv.h>

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

// ---- working-tree-encoding

// As git names them and iconv takes them; case and the hyphen do not count.
std::string encodingKey(std::string_view name)
{
    std::string key;
    for (const char c : name)
        if (c != '-')
            key += char(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
    return key;
}

constexpr std::string_view bigMark = "\xfe\xff", littleMark = "\xff\xfe";

std::optional<std::string> converted(std::string_view bytes, const char* from, const char* to)
{
    const iconv_t way = iconv_open(to, from);
    if (way == iconv_t(-1))
        return std::nullopt;
    std::string text;
    char* in = const_cast<char*>(bytes.data());
    std::size_t left = bytes.size();
    bool ok = true;
    for (bool flushing = false; ok;) {
        char buffer[4096];
        char* at = buffer;
        std::size_t room = sizeof buffer;
        const std::size_t done = iconv(way, flushing ? nullptr : &in, flushing ? nullptr : &left, &at, &room);
        text.append(buffer, std::size_t(at - buffer));
        if (done == std::size_t(-1) && errno == E2BIG)
            continue;
        ok = done != std::size_t(-1);
        if (flushing)
            break;
        flushing = true;
    }
    iconv_close(way);
    return ok ? std::optional(std::move(text)) : std::nullopt;
}

// git's utf8.c: "UTF-16LE-BOM" is written with a mark that the plain name does not give, and read like UTF-16.
std::optional<std::string> encoded(std::string_view text, const std::string& encoding)
{
    const std::string key = encodingKey(encoding);
    const bool little = key == "UTF16LEBOM", big = key == "UTF16BEBOM";
    auto bytes = converted(text, "UTF-8", little ? "UTF-16LE" : big ? "UTF-16BE" : encoding.c_str());
    if (bytes && (little || big))
        bytes->insert(0, little ? littleMark : bigMark);
    return bytes;
}

std::optional<std::string> decoded(std::string_view bytes, const std::string& encoding)
{
    const std::string key = encodingKey(encoding);
    return converted(bytes, key == "UTF16LEBOM" || key == "UTF16BEBOM" ? "UTF-16" : encoding.c_str(), "UTF-8");
}

int checkEncoding(git_filter*, void** payload, const git_filter_source*, const char** attributes)
{
    const char* name = attributes ? attributes[0] : nullptr;
    if (git_attr_value(name) != GIT_ATTR_VALUE_STRING || encodingKey(name) == "UTF8")
        return GIT_PASSTHROUGH;
    *payload = new std::string(name);
    return 0;
}

void cleanUpEncoding(git_filter*, void* payload) { delete static_cast<std::string*>(payload); }

// What cannot be converted goes through as it is, as in git (convert.c, encode_to_worktree).
int applyEncoding(git_filter*, void** payload, git_buf* to, const git_buf* from, const git_filter_source* source)
{
    const std::string& encoding = *static_cast<const std::string*>(*payload);
    const std::string_view bytes(from->ptr ? from->ptr : "", from->size);
    const auto made =
        git_filter_source_mode(source) == GIT_FILTER_TO_WORKTREE ? encoded(bytes, encoding) : decoded(bytes, encoding);
    return bytes.empty() || !made ? GIT_PASSTHROUGH : git_buf_set(to, made->data(), made->size());
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
    static git_filter encoding = [] {
        git_filter made = GIT_FILTER_INIT;
        made.attributes = "working-tree-encoding=*";
        made.check = checkEncoding;
        made.apply = applyEncoding;
        made.cleanup = cleanUpEncoding;
        return made;
    }();
    // Between the line ends, which are those of the text, and the commands, which see what stands in the file.
    git_filter_register("espalier-encoding", &encoding, GIT_FILTER_DRIVER_PRIORITY - 1);
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
