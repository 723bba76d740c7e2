// SPDX-License-Identifier: MIT
#include "core/remotes/fetch.h"

#include "core/git/text.h"
#include "core/keep/open_entries.h"
#include "core/remotes/fetching.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

// refs/remotes/<remote>/HEAD says which branch everybody builds on; it follows the remote.
void refreshHead(const Repository& repository, git_remote* remote, const std::string& name)
{
    Buffer branch;
    if (git_remote_default_branch(&branch, remote) < 0)
        return;
    const std::string target = trackingRef(remote, branch.str());
    Handle<git_reference> there, ref;
    if (target.empty() || git_reference_lookup(out(there), raw(repository), target.c_str()) < 0)
        return;
    const std::string head = "refs/remotes/" + name + "/HEAD";
    Handle<git_reference> old;
    if (git_reference_lookup(out(old), raw(repository), head.c_str()) == 0 &&
        git_reference_type(old.get()) == GIT_REFERENCE_SYMBOLIC && target == git_reference_symbolic_target(old.get()))
        return;
    git_reference_symbolic_create(out(ref), raw(repository), head.c_str(), target.c_str(), 1, "espalier: fetch");
}

// Pushes of which a crash or a broken connection left it open whether they arrived: now it shows.
void settleInterrupted(const Repository& repository, const std::string& remote, const std::map<std::string, Oid>& heads)
{
    for (const std::string& id : openEntryIds(repository)) {
        const auto entry = findEntry(repository, id);
        if (!entry || entry->state != EntryState::Begun || entry->remote != remote)
            continue;
        const bool arrived = std::ranges::all_of(entry->moves, [&](const RefMove& move) {
            const auto at = heads.find(move.name);
            return (at == heads.end() ? Oid{} : at->second) == move.now;
        });
        (void)setEntryState(repository, *entry, arrived ? EntryState::Done : EntryState::Undone);
    }
}

FetchReport reportOf(const Repository& repository, const std::string& remote, const Connection& connection)
{
    FetchReport report;
    report.remote = remote;
    for (const auto& [name, ids] : connection.moved) {
        const auto& [old, now] = ids;
        if (old == now)
            continue;
        report.moves.push_back({name, old, now});
        const git_oid from = toGit(old), to = toGit(now);
        if (!old.isZero() && !now.isZero() && git_graph_descendant_of(raw(repository), &to, &from) != 1)
            report.forced.push_back(name);
    }
    return report;
}

} // namespace

std::string trackingRef(git_remote* remote, const std::string& ref)
{
    for (std::size_t i = 0; i < git_remote_refspec_count(remote); ++i) {
        const git_refspec* spec = git_remote_get_refspec(remote, i);
        Buffer name;
        if (git_refspec_direction(spec) == GIT_DIRECTION_FETCH && git_refspec_src_matches(spec, ref.c_str()) &&
            git_refspec_transform(&name, spec, ref.c_str()) == 0)
            return name.str();
    }
    return {};
}

std::string FetchReport::line() const
{
    std::size_t moved = 0, fresh = 0, gone = 0;
    for (const RefMove& move : moves)
        ++(move.old.isZero() ? fresh : move.now.isZero() ? gone : moved);
    std::string text;
    const auto add = [&](const std::string& part) { text += (text.empty() ? "" : ", ") + part; };
    if (moved)
        add(counted(moved, "branch", "branches") + " moved");
    if (!forced.empty())
        add(std::to_string(forced.size()) + " of them rewritten");
    if (fresh)
        add(std::to_string(fresh) + " new");
    if (gone)
        add(std::to_string(gone) + " gone");
    return displayText(remote, 100) + ": " + (text.empty() ? "nothing new" : text);
}

Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, const Access& access,
                             const Progress& progress)
{
    Connection connection(&repository, access, progress);
    if (auto found = connection.find(remote); !found)
        return std::unexpected(found.error());
    progress.report("Connecting");
    if (auto opened = connection.open(GIT_DIRECTION_FETCH); !opened)
        return std::unexpected(opened.error());
    auto heads = connection.heads();
    if (!heads)
        return std::unexpected(heads.error());
    git_fetch_options options = GIT_FETCH_OPTIONS_INIT;
    options.callbacks = connection.callbacks(connection.url(GIT_DIRECTION_FETCH));
    options.proxy_opts.type = GIT_PROXY_AUTO;
    git_remote* handle = connection.remote();
    if (git_remote_download(handle, nullptr, &options) < 0)
        return connection.error("The fetch failed");
    // A branch that is gone may stand in the way of a new one whose name goes on from it: it goes first.
    if (git_remote_prune(handle, &options.callbacks) < 0 ||
        git_remote_update_tips(handle, &options.callbacks, GIT_REMOTE_UPDATE_FETCHHEAD,
                               GIT_REMOTE_DOWNLOAD_TAGS_UNSPECIFIED, "espalier: fetch") < 0)
        return libgitError("The fetched branches cannot be written", displayText(remote, 100),
                           "Check the free space and the permissions of the repository's folder");
    refreshHead(repository, handle, remote);
    git_remote_disconnect(handle);
    settleInterrupted(repository, remote, *heads);
    return Fetched{reportOf(repository, remote, connection), std::move(*heads)};
}

Result<FetchReport> fetchRemote(const Repository& repository, const std::string& remote, const Access& access,
                                const Progress& progress)
{
    auto fetched = fetchAndLook(repository, remote, access, progress);
    if (!fetched)
        return std::unexpected(fetched.error());
    return std::move(fetched->report);
}

Result<fs::path> cloneRepository(const std::string& url, const fs::path& folder, const Access& access,
                                 const Progress& progress)
{
    std::error_code error;
    const bool existed = fs::exists(folder, error);
    if (existed && (!fs::is_directory(folder, error) || !fs::is_empty(folder, error)))
        return fail(ErrorKind::Refused, "The folder is not empty", folder.string(), "Choose a new one");
    Connection connection(nullptr, access, progress);
    git_clone_options options = GIT_CLONE_OPTIONS_INIT;
    options.fetch_opts.callbacks = connection.callbacks(url);
    options.fetch_opts.proxy_opts.type = GIT_PROXY_AUTO;
    options.checkout_opts.checkout_strategy = GIT_CHECKOUT_SAFE;
    Handle<git_repository> cloned;
    if (git_clone(out(cloned), url.c_str(), folder.c_str(), &options) == 0) {
        connection.accepted();
        return folder;
    }
    auto failure = connection.error("The clone failed");
    cloned.reset();
    // Nothing stays behind: the folder as it was, there and empty, or not there.
    if (!existed) {
        fs::remove_all(folder, error);
    } else {
        for (const auto& item : fs::directory_iterator(folder, error))
            fs::remove_all(item.path(), error);
    }
    return failure;
}

} // namespace espalier
