// SPDX-License-Identifier: MIT
#include "core/remotes/push_target.h"

#include "core/git/hooks.h"
#include "core/git/process.h"
#include "core/git/text.h"
#include "core/history/places.h"

#include <cctype>

namespace espalier {

namespace {

namespace fs = std::filesystem;

class ServerTarget : public PushTarget {
  public:
    explicit ServerTarget(Connection& connection) : m_connection(connection) {}

    Result<Oid> advertised(const std::string& ref) override
    {
        auto heads = m_connection.heads();
        if (!heads)
            return std::unexpected(heads.error());
        const auto at = heads->find(ref);
        return at == heads->end() ? Oid{} : at->second;
    }

    std::expected<void, PushFailure> update(const std::string& ref, const Oid& old, const Oid& now) override
    {
        m_connection.expectedTip = old;
        std::string spec = now.isZero() ? ":" + ref : "+" + now.hex() + ":" + ref;
        char* specs[] = {spec.data()};
        const git_strarray list{specs, 1};
        git_push_options options = GIT_PUSH_OPTIONS_INIT;
        options.callbacks = m_connection.callbacks(m_connection.url(GIT_DIRECTION_PUSH));
        options.proxy_opts.type = GIT_PROXY_AUTO;
        // Still the connection whose advertisement was compared: the server swaps only from that value.
        const int code = git_remote_upload(m_connection.remote(), &list, &options);
        if (!m_connection.rejected.empty())
            return std::unexpected(
                PushFailure{{ErrorKind::Refused,
                             "The remote did not take the push [" + displayText(m_connection.rejected, 500) + "]",
                             displayText(ref, 300),
                             "Fetch and look again; if it moved, check once more what would be overwritten"}});
        // From the first byte on the server may have taken it, whatever broke or was stopped afterwards.
        if (code < 0)
            return std::unexpected(PushFailure{m_connection.error("The push failed").error(), bool(m_connection.veto)});
        if (!m_connection.answered)
            return std::unexpected(PushFailure{
                {ErrorKind::Network, "The remote did not say whether it took the push", displayText(ref, 300), {}},
                false});
        m_connection.accepted();
        return {};
    }

    std::vector<std::string> takeSaid() override { return m_connection.takeSaid(); }

  private:
    Connection& m_connection;
};

} // namespace

fs::path localPathOf(const std::string& url)
{
    if (url.starts_with("file://")) {
        std::string path;
        const std::string_view rest = std::string_view(url).substr(7);
        const std::string_view absolute = rest.starts_with("localhost/") ? rest.substr(9) : rest;
        for (std::size_t i = 0; i < absolute.size(); ++i) {
            const bool escaped = absolute[i] == '%' && i + 2 < absolute.size() &&
                                 std::isxdigit(std::uint8_t(absolute[i + 1])) &&
                                 std::isxdigit(std::uint8_t(absolute[i + 2]));
            path += escaped ? char(std::stoi(std::string(absolute.substr(i + 1, 2)), nullptr, 16)) : absolute[i];
            i += escaped ? 2 : 0;
        }
        return path;
    }
    const std::size_t colon = url.find(':'), slash = url.find('/');
    const bool hasHost = url.find("://") != std::string::npos || (colon != std::string::npos && colon < slash);
    return hasHost ? fs::path() : fs::path(url);
}

Result<std::unique_ptr<PushTarget>> openTarget(const Repository& repository, Connection& connection,
                                               const Progress& progress)
{
    const std::string url = connection.url(GIT_DIRECTION_PUSH);
    fs::path path = localPathOf(url);
    if (!path.empty()) {
        if (path.is_relative())
            path = (repository.isBare() ? repository.gitDir() : repository.workDir()) / path;
        auto there = Repository::open(path);
        if (!there)
            return std::unexpected(there.error());
        return makeLocalTarget(repository, std::move(*there), progress);
    }
    if (auto opened = connection.open(GIT_DIRECTION_PUSH); !opened)
        return std::unexpected(opened.error());
    return std::make_unique<ServerTarget>(connection);
}

Result<std::string> runServerHook(const Repository& repository, const std::string& name,
                                  const std::vector<std::string>& arguments, const std::string& input,
                                  const Progress& progress)
{
    const fs::path hook = hookPath(repository, name);
    if (hook.empty())
        return std::string();
    ProcessRequest request{.argv = {hook.string()}, .environment = {{"GIT_DIR", "."}}, .folder = repository.gitDir()};
    request.argv.insert(request.argv.end(), arguments.begin(), arguments.end());
    request.input = input;
    request.stop = progress.stop;
    const auto ended = run(request);
    if (!ended)
        return std::unexpected(ended.error());
    const std::string said = ended->out + ended->err;
    if (!ended->ok())
        return fail(ErrorKind::Refused,
                    "The hook " + name + " said no" +
                        (said.empty() ? std::string() : " [" + displayText(said, 1000) + "]"),
                    hook.string(), "Do what it asks for, then try again");
    return said;
}

} // namespace espalier
