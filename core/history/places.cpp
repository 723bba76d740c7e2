// SPDX-License-Identifier: MIT
#include "core/history/places.h"

#include "core/git/handles.h"

#include <algorithm>
#include <array>
#include <fstream>
#include <map>

#include <sys/stat.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

// Where a name may be a token, and a query too.
constexpr std::array<std::string_view, 4> webSchemes{"https", "http", "ftps", "ftp"};

constexpr int mostReflogs = 4096; // looked at for a remote's last fetch

// Seconds since 1970 of a file's last change; 0 when there is none.
std::int64_t changedAt(const fs::path& path)
{
    struct stat state{};
    return ::stat(path.c_str(), &state) == 0 ? std::int64_t(state.st_mtim.tv_sec) : 0;
}

std::int64_t newestReflog(const fs::path& folder)
{
    std::int64_t newest = 0;
    std::error_code error;
    int seen = 0;
    for (fs::recursive_directory_iterator at(folder, error), end; !error && at != end && seen < mostReflogs;
         at.increment(error), ++seen) {
        std::error_code kindError;
        if (at->is_regular_file(kindError) && at->path().filename() != "HEAD")
            newest = std::max(newest, changedAt(at->path()));
    }
    return newest;
}

// git writes "ID <TAB>not-for-merge<TAB>branch 'x' of URL", the URL without a trailing ".git" or "/".
bool fetchHeadNames(const fs::path& file, std::string url)
{
    url = withoutSecret(url);
    while (url.ends_with('/'))
        url.pop_back();
    if (url.ends_with(".git"))
        url.resize(url.size() - 4);
    std::ifstream lines(file);
    for (std::string line; std::getline(lines, line);)
        if (line.find(url) != line.npos)
            return true;
    return false;
}

} // namespace

std::string_view placeName(Place place)
{
    switch (place) {
    case Place::Upstream:
        return "upstream";
    case Place::Fork:
        return "fork";
    case Place::Clone:
        return "clone";
    }
    return "";
}

std::string withoutSecret(const std::string& url)
{
    const std::size_t scheme = url.find("://");
    if (scheme == url.npos)
        return url;
    const bool isWeb = std::ranges::contains(webSchemes, std::string_view(url).substr(0, scheme));
    const std::size_t from = scheme + 3;
    const std::size_t path = std::min(url.find_first_of("/?#", from), url.size());
    // A secret may itself hold an '@'; the host begins behind the last one.
    std::size_t host = from;
    if (const std::size_t at = path > from ? url.rfind('@', path - 1) : url.npos; at != url.npos && at >= from)
        host = at + 1;
    std::string login = url.substr(from, host - from), rest = url.substr(host);
    if (const std::size_t colon = login.find(':'); isWeb)
        login.clear();
    else if (colon != login.npos)
        login = login.substr(0, colon) + "@";
    if (const std::size_t query = rest.find_first_of("?#"); isWeb && query != rest.npos && query + 1 < rest.size())
        rest = rest.substr(0, query) + "?***";
    return url.substr(0, from) + login + rest;
}

std::vector<Remote> readRemotes(const Repository& repository)
{
    Handle<git_config> config;
    Handle<git_config_iterator> entries;
    // The values as configured: libgit2's remotes already have url.*.insteadOf applied.
    if (git_repository_config_snapshot(out(config), raw(repository)) < 0 ||
        git_config_iterator_glob_new(out(entries), config.get(), "^remote\\..*\\.(url|pushurl)$") < 0)
        return {};
    std::map<std::string, Remote> remotes;
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, entries.get()) == 0) {
        const std::string_view key = entry->name;
        constexpr std::string_view before = "remote.";
        const std::size_t dot = key.rfind('.');
        if (dot <= before.size())
            continue;
        const std::string name(key.substr(before.size(), dot - before.size()));
        Remote& remote = remotes[name];
        remote.name = name;
        const std::string value = entry->value ? entry->value : "";
        // The first of several URLs is the one that is fetched from.
        std::string& field = key.substr(dot + 1) == "url" ? remote.url : remote.pushUrl;
        if (field.empty())
            field = value;
    }
    std::vector<Remote> list;
    const fs::path common = repository.commonDir(), fetchHead = repository.gitDir() / "FETCH_HEAD";
    for (auto& [name, remote] : remotes) {
        remote.lastFetched = newestReflog(common / "logs/refs/remotes" / name);
        if (const std::int64_t when = changedAt(fetchHead);
            when > remote.lastFetched && fetchHeadNames(fetchHead, remote.url))
            remote.lastFetched = when;
        remote.url = withoutSecret(remote.url);
        remote.pushUrl = remote.pushUrl.empty() ? remote.url : withoutSecret(remote.pushUrl);
        if (!remote.url.empty() || !remote.pushUrl.empty())
            list.push_back(std::move(remote));
    }
    return list;
}

Roles guessRoles(const Repository& repository, const std::vector<Remote>& remotes)
{
    const auto exists = [&](const std::string& name) { return std::ranges::contains(remotes, name, &Remote::name); };
    Roles roles;
    const auto upstream = repository.config("espalier.upstream"), fork = repository.config("espalier.fork");
    const bool upstreamChosen = upstream && exists(*upstream), forkChosen = fork && exists(*fork);
    roles.chosenByUser = upstreamChosen || forkChosen;
    if (upstreamChosen)
        roles.upstream = *upstream;
    if (forkChosen)
        roles.fork = *fork;
    if (remotes.empty())
        return roles;
    if (remotes.size() == 1) {
        roles.upstream = roles.fork = remotes[0].name;
        return roles;
    }
    if (roles.fork.empty()) {
        const auto pushDefault = repository.config("remote.pushDefault");
        if (pushDefault && exists(*pushDefault) && *pushDefault != roles.upstream)
            roles.fork = *pushDefault;
        else if (exists("origin") && roles.upstream != "origin")
            roles.fork = "origin";
    }
    if (roles.upstream.empty()) {
        if (exists("upstream") && roles.fork != "upstream")
            roles.upstream = "upstream";
        else if (exists("origin") && roles.fork != "origin")
            roles.upstream = "origin";
        else // the first that is not the fork
            for (const Remote& remote : remotes)
                if (roles.upstream.empty() && remote.name != roles.fork)
                    roles.upstream = remote.name;
    }
    if (roles.fork.empty())
        for (const Remote& remote : remotes)
            if (roles.fork.empty() && remote.name != roles.upstream)
                roles.fork = remote.name;
    return roles;
}

Result<void> setRoles(const Repository& repository, const std::string& upstream, const std::string& fork)
{
    const auto remotes = readRemotes(repository);
    for (const std::string& name : {upstream, fork})
        if (!std::ranges::contains(remotes, name, &Remote::name))
            return fail(ErrorKind::NotFound, "There is no remote of that name", name, "Add the remote first");
    if (auto kept = repository.setConfig("espalier.upstream", upstream); !kept)
        return kept;
    return repository.setConfig("espalier.fork", fork);
}

Result<void> addRemote(const Repository& repository, const std::string& name, const std::string& url)
{
    int valid = 0;
    if (git_remote_name_is_valid(&valid, name.c_str()) < 0 || !valid)
        return fail(ErrorKind::Usage, "That is not a name for a remote", name, "Use letters, digits and hyphens");
    if (url.empty())
        return fail(ErrorKind::Usage, "The remote needs an address", name);
    Handle<git_remote> remote;
    const int error = git_remote_create(out(remote), raw(repository), name.c_str(), url.c_str());
    if (error == GIT_EEXISTS)
        return fail(ErrorKind::Usage, "There is a remote of that name already", name, "Choose another name");
    if (error < 0)
        return libgitError("The remote cannot be added", name);
    return {};
}

} // namespace espalier
