// SPDX-License-Identifier: MIT
//
// libgit2's own transports, where no git is installed: paths, file://, git://, https:// and ssh:// with an agent's keys. What it
// does not do is said in notice(), and a push into a repository on this disk is refused: libgit2 would move the branch without
// looking, past hooks, limits and worktrees, and git's receive-pack is not there to do it.
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/remotes/connection.h"
#include "core/remotes/transport.h"
#include "core/remotes/url_secret.h"

#include "core/history/places.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

class LibgitTransport : public Transport {
  public:
    LibgitTransport(const Repository& repository, std::string remote, const Access& access, const Progress& progress)
        : m_repository(repository), m_remote(std::move(remote)), m_access(access), m_progress(progress)
    {
    }

    Result<void> find()
    {
        auto opened = open();
        if (!opened)
            return std::unexpected(opened.error());
        m_address = withoutSecret((*opened)->url(GIT_DIRECTION_FETCH));
        m_pushAddress = withoutSecret((*opened)->url(GIT_DIRECTION_PUSH));
        return {};
    }
    std::string address() const override { return m_address; }

    Result<Advertisement> look() override
    {
        m_progress.report("Connecting");
        auto connection = connect(GIT_DIRECTION_FETCH);
        if (!connection)
            return std::unexpected(connection.error());
        Advertisement seen;
        auto heads = (*connection)->heads();
        if (!heads)
            return std::unexpected(heads.error());
        seen.refs = std::move(*heads);
        Buffer name;
        if (git_remote_default_branch(&name, (*connection)->remote()) == 0)
            seen.defaultBranch = name.str();
        return seen;
    }

    Result<void> get(const std::vector<WantedRef>& refs) override
    {
        std::vector<std::string> names;
        for (const WantedRef& ref : refs)
            names.push_back(ref.source);
        std::vector<char*> specs;
        for (std::string& name : names)
            specs.push_back(name.data());
        const git_strarray list{specs.data(), specs.size()};
        auto connection = open();
        if (!connection)
            return std::unexpected(connection.error());
        git_fetch_options options = GIT_FETCH_OPTIONS_INIT;
        options.callbacks = (*connection)->callbacks((*connection)->url(GIT_DIRECTION_FETCH));
        options.proxy_opts.type = GIT_PROXY_AUTO;
        if (git_remote_download((*connection)->remote(), &list, &options) < 0)
            return (*connection)->error("The fetch failed");
        return {};
    }

    // Only what is named is looked at; what lies below it libgit2 takes for granted too.
    Result<bool> areComplete(const std::set<Oid>& ids) override
    {
        Handle<git_odb> odb;
        if (git_repository_odb(out(odb), raw(m_repository)) < 0)
            return libgitError("The objects cannot be read", m_repository.path().string());
        return std::ranges::all_of(ids, [&](const Oid& id) {
            const git_oid one = toGit(id);
            return git_odb_exists(odb.get(), &one) == 1;
        });
    }

    Result<std::vector<std::string>> pushAddresses() override { return std::vector{m_pushAddress}; }

    Result<Advertised> lookWhereItPushes(std::size_t, const std::vector<std::string>& refs) override
    {
        if (!folderOfAddress(m_repository, m_pushAddress).empty())
            return fail(ErrorKind::Unsupported, "A push into a repository on this disk needs git itself", m_pushAddress,
                        "Install git (2.31 or newer)");
        m_progress.report("Connecting");
        auto connection = connect(GIT_DIRECTION_PUSH);
        if (!connection)
            return std::unexpected(connection.error());
        auto heads = (*connection)->heads();
        if (!heads)
            return std::unexpected(heads.error());
        std::erase_if(*heads, [&](const auto& ref) { return !std::ranges::contains(refs, ref.first); });
        return std::move(*heads);
    }

    Sent send(std::size_t, const std::vector<RefMove>& moves) override
    {
        Sent sent;
        // One by one: of several refs of one push it says of none where it stood.
        for (const RefMove& move : moves) {
            sendOne(move, sent);
            if (sent.error)
                break;
        }
        return sent;
    }

    std::vector<std::string> takeSaid() override { return std::exchange(m_said, {}); }
    std::string notice() const override
    {
        return "No git (2.31 or newer) was found, so your settings for ssh, proxies, certificates, credential helpers "
               "and "
               "shallow clones do not hold";
    }

  private:
    Result<std::unique_ptr<Connection>> open()
    {
        auto connection = std::make_unique<Connection>(&m_repository, m_access, m_progress);
        if (auto found = connection->find(m_remote); !found)
            return std::unexpected(found.error());
        return connection;
    }
    Result<std::unique_ptr<Connection>> connect(git_direction direction)
    {
        auto connection = open();
        if (!connection)
            return connection;
        if (auto opened = (*connection)->open(direction); !opened)
            return std::unexpected(opened.error());
        return connection;
    }

    void sendOne(const RefMove& move, Sent& sent)
    {
        auto connected = connect(GIT_DIRECTION_PUSH);
        if (!connected) {
            sent.error = connected.error();
            sent.nothingSent = sent.answers.empty();
            sent.answers[move.name] = {RefAnswer::Kind::RefusedHere, {}};
            return;
        }
        Connection& connection = **connected;
        connection.expectedTip = move.old;
        std::string spec = move.now.isZero() ? ":" + move.name : "+" + move.now.hex() + ":" + move.name;
        char* specs[] = {spec.data()};
        const git_strarray list{specs, 1};
        git_push_options options = GIT_PUSH_OPTIONS_INIT;
        options.callbacks = connection.callbacks(connection.url(GIT_DIRECTION_PUSH));
        options.proxy_opts.type = GIT_PROXY_AUTO;
        // Still the connection whose advertisement is compared: the server swaps only from that value.
        const int code = git_remote_upload(connection.remote(), &list, &options);
        RefAnswer& answer = sent.answers[move.name];
        if (!connection.rejected.empty())
            answer = {RefAnswer::Kind::RefusedThere, connection.rejected};
        else if (connection.veto)
            answer = {RefAnswer::Kind::RefusedHere, "stale info"};
        else if (code == 0 && connection.answered)
            answer = {RefAnswer::Kind::Taken, {}};
        if (answer.kind != RefAnswer::Kind::Taken)
            sent.error = connection.error("The push failed").error();
        for (std::string& said : connection.takeSaid())
            m_said.push_back(std::move(said));
    }

    const Repository& m_repository;
    const std::string m_remote;
    const Access& m_access;
    const Progress& m_progress;
    std::string m_address, m_pushAddress;
    std::vector<std::string> m_said;
};

} // namespace

Result<std::unique_ptr<Transport>> openLibgitTransport(const Repository& repository, const std::string& remote,
                                                       const Access& access, const Progress& progress)
{
    auto transport = std::make_unique<LibgitTransport>(repository, remote, access, progress);
    if (auto found = transport->find(); !found)
        return std::unexpected(found.error());
    return transport;
}

Result<void> cloneByLibgit(const std::string& url, const fs::path& folder, const Access& access,
                           const Progress& progress)
{
    Connection connection(nullptr, access, progress);
    // The address is written down in the clone.
    const std::string address = hideSecret(url).place;
    connection.login = loginOf(url);
    git_clone_options options = GIT_CLONE_OPTIONS_INIT;
    options.fetch_opts.callbacks = connection.callbacks(address);
    options.fetch_opts.proxy_opts.type = GIT_PROXY_AUTO;
    options.checkout_opts.checkout_strategy = GIT_CHECKOUT_SAFE;
    Handle<git_repository> cloned;
    if (git_clone(out(cloned), address.c_str(), folder.c_str(), &options) < 0)
        return connection.error("The clone failed");
    return {};
}

} // namespace espalier
