// SPDX-License-Identifier: MIT
#include "core/git/asked_config.h"

#include "core/git/files.h"
#include "core/git/handles.h"
#include "core/git/process.h"

#include <algorithm>
#include <cstdlib>
#include <mutex>

#include <sys/mman.h>

namespace espalier {

namespace {

using Values = std::vector<std::string>;
using Settings = std::map<std::string, Values>; // by key, each with its values from the first to the one that counts

bool isSet(const char* variable)
{
    const char* const value = std::getenv(variable);
    return value && *value;
}

Settings settingsOf(git_config* config, bool& includes)
{
    Settings settings;
    Handle<git_config_iterator> entries;
    if (git_config_iterator_new(out(entries), config) < 0)
        return settings;
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, entries.get()) == 0) {
        includes |= std::string_view(entry->name).starts_with("includeif.hasconfig:");
        settings[entry->name].emplace_back(entry->value ? entry->value : "");
    }
    return settings;
}

// "KEY\nVALUE\0"; a key without a value is its own line.
Settings parse(std::string_view listed)
{
    Settings settings;
    while (!listed.empty()) {
        const std::string_view item = listed.substr(0, listed.find('\0'));
        listed.remove_prefix(std::min(item.size() + 1, listed.size()));
        const std::size_t end = item.find('\n');
        settings[std::string(item.substr(0, end))].emplace_back(end == item.npos ? "" : item.substr(end + 1));
    }
    return settings;
}

// In quotes, as the configuration's files have it.
std::string asValue(std::string_view text)
{
    std::string inQuotes = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\')
            inQuotes += '\\';
        if (c == '\n')
            inQuotes += "\\n";
        else
            inQuotes += c;
    }
    return inQuotes + '"';
}

// What `all` has beyond `known`, as a file of the configuration.
std::string beyond(const Settings& all, const Settings& known)
{
    std::string text;
    for (const auto& [key, values] : all) {
        const auto at = known.find(key);
        Values left = at == known.end() ? Values() : at->second, more;
        for (const std::string& value : values) {
            if (const auto same = std::ranges::find(left, value); same != left.end())
                left.erase(same);
            else
                more.push_back(value);
        }
        // Where the last one, which counts, is known already, it stays so.
        if (more.empty() || more.back() != values.back())
            continue;
        const std::size_t first = key.find('.'), last = key.rfind('.');
        if (first == std::string::npos)
            continue;
        text += '[' + key.substr(0, first);
        if (last != first)
            text += ' ' + asValue(std::string_view(key).substr(first + 1, last - first - 1));
        text += "]\n";
        for (const std::string& value : more)
            text += key.substr(last + 1) + " = " + asValue(value) + '\n';
    }
    return text;
}

// A file without a name, since libgit2 reads files only and reads them again; for as long as the program runs, one for each
// text that comes up. Empty where the system has none.
std::string fileWith(const std::string& text)
{
    static std::mutex guard;
    static std::map<std::string, std::string> known;
    const std::scoped_lock lock(guard);
    std::string& path = known[text];
    if (!path.empty())
        return path;
    const int file = ::memfd_create("espalier-config", MFD_CLOEXEC);
    if (file >= 0 && writeAll(file, text) == 0)
        path = "/proc/self/fd/" + std::to_string(file);
    return path;
}

} // namespace

Result<void> addAskedConfig(git_repository* repository)
{
    Handle<git_config> config;
    if (git_repository_config(out(config), repository) < 0)
        return libgitError("The configuration cannot be read", git_repository_path(repository));
    bool includes = false;
    const Settings known = settingsOf(config.get(), includes);
    if (!includes && !isSet("GIT_CONFIG_COUNT") && !isSet("GIT_CONFIG_PARAMETERS"))
        return {};
    const std::string form = isSet("GIT_CONFIG_COUNT")        ? "GIT_CONFIG_COUNT"
                             : isSet("GIT_CONFIG_PARAMETERS") ? "GIT_CONFIG_PARAMETERS"
                                                              : "includeIf.hasconfig";
    const auto listed =
        run({.argv = {"git", "config", "--list", "-z"}, .environment = {{"GIT_DIR", git_repository_path(repository)}}});
    if (!listed)
        return fail(ErrorKind::Unsupported, "Only git itself reads this form of configuration, and it cannot be asked",
                    form, "Install git, or write the settings into the repository's own config");
    if (!listed->ok())
        return fail(ErrorKind::Broken, "git cannot read the configuration [" + listed->lastWords() + "]", form,
                    "Correct it; git config --list --show-origin tells where each setting comes from");
    const std::string more = beyond(parse(listed->out), known);
    const std::string file = fileWith(more);
    if (file.empty() || git_config_add_file_ondisk(config.get(), file.c_str(), GIT_CONFIG_LEVEL_APP, repository, 1) < 0)
        return libgitError("The configuration cannot be read", form);
    return {};
}

} // namespace espalier
