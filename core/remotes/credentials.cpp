// SPDX-License-Identifier: MIT
#include "core/remotes/credentials.h"

#include "core/git/handles.h"
#include "core/git/process.h"

namespace espalier {

namespace {

struct Target {
    std::string protocol, host, user;
};

Target targetOf(const std::string& url, const std::string& user)
{
    Target target;
    target.user = user;
    const std::size_t scheme = url.find("://");
    if (scheme == std::string::npos)
        return target;
    target.protocol = url.substr(0, scheme);
    target.host = url.substr(scheme + 3, url.find('/', scheme + 3) - scheme - 3);
    if (const std::size_t at = target.host.rfind('@'); at != std::string::npos) {
        if (target.user.empty())
            target.user = target.host.substr(0, std::min(target.host.find(':'), at));
        target.host.erase(0, at + 1);
    }
    return target;
}

// credential.helper, and credential.<url>.helper where the address begins like ours; an empty value forgets those above.
std::vector<std::string> helpersFor(const Repository* repository, const Target& target)
{
    std::vector<std::string> helpers;
    Handle<git_config> config;
    Handle<git_config_iterator> iterator;
    const int opened = repository ? git_repository_config_snapshot(out(config), raw(*repository))
                                  : git_config_open_default(out(config));
    if (opened < 0 || git_config_iterator_glob_new(out(iterator), config.get(), "^credential\\.(.*\\.)?helper$") < 0)
        return helpers;
    const std::string own = target.protocol + "://" + target.host;
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, iterator.get()) == 0) {
        const std::string name = entry->name, value = entry->value ? entry->value : "";
        constexpr std::size_t prefix = 11, suffix = 7; // "credential." and ".helper"
        if (name.size() > prefix + suffix) {
            std::string scope = name.substr(prefix, name.size() - prefix - suffix);
            while (scope.ends_with('/'))
                scope.pop_back();
            if (scope != own && scope != target.protocol + "://" + target.user + "@" + target.host)
                continue;
        }
        if (value.empty())
            helpers.clear();
        else
            helpers.push_back(value);
    }
    return helpers;
}

std::string commandFor(const std::string& helper, const char* action)
{
    if (helper.starts_with('!'))
        return helper.substr(1) + " " + action;
    return (helper.starts_with('/') ? helper : "git credential-" + helper) + " " + action;
}

// No login is larger than the limit, and a helper may ask in its own way, also on the terminal.
Result<ProcessResult> ask(const std::string& helper, const char* action, std::string input)
{
    return run({.argv = {"/bin/sh", "-c", commandFor(helper, action)},
                .environment = {{"GIT_TERMINAL_PROMPT", "0"}},
                .input = std::move(input),
                .outputLimit = std::size_t(1) << 20,
                .interactive = true});
}

std::string linesFor(const Target& target)
{
    return "protocol=" + target.protocol + "\nhost=" + target.host + "\n" +
           (target.user.empty() ? "" : "username=" + target.user + "\n");
}

// A line end in an address would smuggle lines of its own into the helper's input.
bool isSound(const Target& target)
{
    const auto clean = [](const std::string& text) {
        return text.find_first_of(std::string("\n\r\0", 3)) == std::string::npos;
    };
    return !target.protocol.empty() && clean(target.host) && clean(target.user) && clean(target.protocol);
}

} // namespace

std::optional<Login> askHelpers(const Repository* repository, const std::string& url, const std::string& user)
{
    const Target target = targetOf(url, user);
    if (!isSound(target))
        return std::nullopt;
    for (const std::string& helper : helpersFor(repository, target)) {
        const auto told = ask(helper, "get", linesFor(target) + "\n");
        if (!told || !told->ok())
            continue;
        Login login{target.user, {}};
        bool quit = false;
        std::string_view rest = told->out;
        while (!rest.empty()) {
            const std::size_t end = std::min(rest.find('\n'), rest.size());
            const std::string_view line = rest.substr(0, end);
            if (line.starts_with("username="))
                login.user = line.substr(9);
            if (line.starts_with("password="))
                login.secret = line.substr(9);
            quit = quit || line == "quit=1" || line == "quit=true";
            rest.remove_prefix(std::min(end + 1, rest.size()));
        }
        if (!login.user.empty() && !login.secret.empty())
            return login;
        if (quit)
            return std::nullopt;
    }
    return std::nullopt;
}

void tellHelpers(const Repository* repository, const std::string& url, const Login& login, bool worked)
{
    const Target target = targetOf(url, login.user);
    if (!isSound(target) || login.secret.find('\n') != std::string::npos)
        return;
    for (const std::string& helper : helpersFor(repository, target))
        (void)ask(helper, worked ? "store" : "erase", linesFor(target) + "password=" + login.secret + "\n\n");
}

} // namespace espalier
