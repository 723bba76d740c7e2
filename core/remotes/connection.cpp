// SPDX-License-Identifier: MIT
#include "core/remotes/connection.h"

#include "core/git/library.h"
#include "core/git/sha256.h"
#include "core/git/text.h"
#include "core/history/places.h"
#include "core/remotes/credentials.h"

#include <mutex>

namespace espalier {

namespace {

constexpr std::size_t maxSaid = 1 << 16;
constexpr int maxAttempts = 3;

std::string replaced(std::string text, const std::string& what, const std::string& by)
{
    for (std::size_t at = 0; !what.empty() && (at = text.find(what, at)) != std::string::npos; at += by.size())
        text.replace(at, what.size(), by);
    return text;
}

std::vector<std::string> linesOf(const std::string& text)
{
    std::vector<std::string> lines;
    std::string line;
    for (const char c : text + "\n") {
        if (c != '\n' && c != '\r') {
            line += c;
            continue;
        }
        if (line.find_first_not_of(' ') != std::string::npos)
            lines.push_back(displayText(line, 500));
        line.clear();
    }
    return lines;
}

} // namespace

void boundWaiting()
{
    static std::once_flag once;
    std::call_once(once, [] {
        startLibrary();
        git_libgit2_opts(GIT_OPT_SET_SERVER_CONNECT_TIMEOUT, 20000);
        git_libgit2_opts(GIT_OPT_SET_SERVER_TIMEOUT, 120000);
    });
}

Result<void> trustAuthorities(const Repository* repository, const std::string& url)
{
    if (!url.starts_with("https://"))
        return {};
    static std::mutex mutex;
    // The file, empty for the system's own; nothing before the first connection.
    static std::optional<std::string> trusted;
    const std::string wanted = repository ? repository->config("http.sslCAInfo").value_or("") : std::string();
    const std::lock_guard guard(mutex);
    if (trusted && *trusted != wanted)
        return fail(ErrorKind::Refused,
                    "This repository trusts other certificate authorities (http.sslCAInfo) than the one that was "
                    "connected from before",
                    withoutSecret(url), "Start Espalier anew for this repository; one run trusts one set of them");
    if (trusted)
        return {};
    if (!wanted.empty() && git_libgit2_opts(GIT_OPT_SET_SSL_CERT_LOCATIONS, wanted.c_str(), nullptr) < 0)
        return libgitError("The file that http.sslCAInfo names cannot be used", displayText(wanted, 500),
                           "Correct the setting");
    trusted = wanted;
    return {};
}

Connection::Connection(const Repository* repository, const Access& access, const Progress& progress)
    : m_repository(repository), m_access(access), m_progress(progress)
{
    boundWaiting();
    m_ssh.repository = repository;
    m_ssh.access = &m_access;
    m_ssh.progress = &m_progress;
}

Result<void> Connection::find(const std::string& name)
{
    const int code = git_remote_lookup(out(m_remote), raw(*m_repository), name.c_str());
    if (code < 0 && code != GIT_ENOTFOUND && code != GIT_EINVALIDSPEC)
        return libgitError("The remote's settings cannot be read", displayText(name, 200),
                           "Correct them with git config");
    if (code < 0)
        return fail(ErrorKind::NotFound, "There is no such remote", displayText(name, 200),
                    "Look at the list of remotes");
    m_url = url(GIT_DIRECTION_FETCH);
    return {};
}

std::string Connection::url(git_direction direction) const
{
    const char* push = direction == GIT_DIRECTION_PUSH ? git_remote_pushurl(m_remote.get()) : nullptr;
    const char* text = push ? push : git_remote_url(m_remote.get());
    return text ? text : "";
}

Result<void> Connection::open(git_direction direction)
{
    git_remote_connect_options options = GIT_REMOTE_CONNECT_OPTIONS_INIT;
    options.callbacks = callbacks(url(direction));
    options.proxy_opts.type = GIT_PROXY_AUTO;
    if (m_progress.stopped())
        return cancelled();
    if (auto trusted = trustAuthorities(m_repository, url(direction)); !trusted)
        return trusted;
    if (git_remote_connect_ext(m_remote.get(), direction, &options) < 0)
        return error("The remote cannot be reached");
    accepted();
    return {};
}

Result<std::map<std::string, Oid>> Connection::heads() const
{
    const git_remote_head** list = nullptr;
    std::size_t count = 0;
    if (git_remote_ls(&list, &count, m_remote.get()) < 0)
        return libgitError("The remote's branches cannot be read");
    std::map<std::string, Oid> heads;
    for (std::size_t i = 0; i < count; ++i)
        heads[list[i]->name] = fromGit(list[i]->oid);
    return heads;
}

int Connection::onCredentials(git_credential** out, const char* url, const char* user, unsigned allowed, void* payload)
{
    auto* self = static_cast<Connection*>(payload);
    if (!(allowed & GIT_CREDENTIAL_USERPASS_PLAINTEXT))
        return GIT_PASSTHROUGH;
    const std::string known = user ? user : "";
    if (self->m_login && self->m_attempts > 0)
        tellHelpers(self->m_repository, self->m_loginUrl, *self->m_login, false);
    std::optional<Login> login;
    if (self->m_attempts == 0)
        login = askHelpers(self->m_repository, url, known);
    if (!login && self->m_access.askLogin && self->m_attempts < maxAttempts)
        login = self->m_access.askLogin(withoutSecret(url), known);
    ++self->m_attempts;
    if (!login)
        return GIT_EAUTH;
    self->m_login = login;
    self->m_loginUrl = url;
    return git_credential_userpass_plaintext_new(out, login->user.c_str(), login->secret.c_str());
}

// What the system vouches for is taken; anything else only when the user says that the fingerprint is the right one.
int Connection::onCertificate(git_cert* certificate, int valid, const char* host, void* payload)
{
    if (valid)
        return 0;
    auto* self = static_cast<Connection*>(payload);
    self->m_distrusted = host ? host : "";
    if (!certificate || certificate->cert_type != GIT_CERT_X509)
        return GIT_ECERTIFICATE;
    const auto* x509 = reinterpret_cast<const git_cert_x509*>(certificate);
    const std::string fingerprint = fingerprintOf({static_cast<const char*>(x509->data), x509->len});
    if (!self->m_access.trustHost || !self->m_access.trustHost(self->m_distrusted, fingerprint))
        return GIT_ECERTIFICATE;
    self->m_distrusted.clear();
    return 0;
}

git_remote_callbacks Connection::callbacks(const std::string& url)
{
    m_url = url;
    git_remote_callbacks callbacks = GIT_REMOTE_CALLBACKS_INIT;
    callbacks.payload = this;
    callbacks.credentials = onCredentials;
    callbacks.certificate_check = onCertificate;
    callbacks.sideband_progress = [](const char* text, int size, void* payload) {
        auto* self = static_cast<Connection*>(payload);
        if (self->m_said.size() < maxSaid)
            self->m_said.append(text, std::size_t(size));
        return self->m_progress.stopped() ? GIT_EUSER : 0;
    };
    callbacks.transfer_progress = [](const git_indexer_progress* stats, void* payload) {
        auto* self = static_cast<Connection*>(payload);
        self->m_progress.report("Receiving objects", stats->received_objects, stats->total_objects);
        return self->m_progress.stopped() ? GIT_EUSER : 0;
    };
    callbacks.push_transfer_progress = [](unsigned current, unsigned total, size_t, void* payload) {
        auto* self = static_cast<Connection*>(payload);
        self->m_progress.report("Sending objects", current, total);
        return self->m_progress.stopped() ? GIT_EUSER : 0;
    };
    callbacks.push_update_reference = [](const char*, const char* status, void* payload) {
        auto* self = static_cast<Connection*>(payload);
        self->answered = true;
        if (status)
            self->rejected = *status ? status : "no reason given";
        return 0;
    };
    callbacks.push_negotiation = [](const git_push_update** updates, size_t count, void* payload) -> int {
        auto* self = static_cast<Connection*>(payload);
        // The last look before anything is sent: what the server advertised in this very connection.
        for (std::size_t i = 0; i < count; ++i) {
            if (self->expectedTip && fromGit(updates[i]->src) != *self->expectedTip) {
                self->veto =
                    Error{ErrorKind::Refused, "The remote's branch moved since it was looked at",
                          displayText(updates[i]->dst_refname, 300), "Look at it again before it is overwritten"};
                return GIT_EUSER;
            }
        }
        return 0;
    };
    if (isSshUrl(url)) {
        callbacks.transport = [](git_transport** transport, git_remote* owner, void* payload) {
            return makeSshTransport(transport, owner, static_cast<Connection*>(payload)->m_ssh);
        };
    }
    return callbacks;
}

std::unexpected<Error> Connection::error(std::string what)
{
    if (veto)
        return std::unexpected(*veto);
    if (m_progress.stopped())
        return cancelled();
    const git_error* last = git_error_last();
    std::string text = last && last->message ? replaced(last->message, m_url, withoutSecret(m_url)) : "";
    const std::vector<std::string> ssh = linesOf(m_ssh.errors);
    if (!ssh.empty()) {
        text.clear();
        for (std::size_t i = ssh.size() > 4 ? ssh.size() - 4 : 0; i < ssh.size(); ++i)
            text += (text.empty() ? "" : " / ") + ssh[i];
    }
    std::string remedy = "Check the address and the connection, and whether you may use the remote";
    // Whether a host key is the right one is asked and kept by ssh itself.
    if (m_ssh.hostRefused)
        remedy =
            "Compare the fingerprint with the one that the host's owner publishes, and try again when it is the same";
    else if (m_ssh.errors.find("Host key verification failed") != std::string::npos)
        remedy = "Connect once with ssh in a terminal, compare the fingerprint with the one that the host's owner "
                 "publishes, and "
                 "try again";
    if (!m_distrusted.empty()) {
        what += ": the certificate of " + displayText(m_distrusted, 200) + " is not trusted";
        remedy = "Accept it when its fingerprint is the one that its owner publishes, add the authority that signed it "
                 "to the "
                 "system, or name its file in http.sslCAInfo";
        text.clear();
    } else if (m_attempts > 0) {
        remedy = "Check your login; a credential helper (credential.helper) can keep it";
    }
    if (!text.empty())
        what += " [" + displayText(text, 1000) + "]";
    return fail(ErrorKind::Network, std::move(what), withoutSecret(m_url), std::move(remedy));
}

void Connection::accepted()
{
    if (m_login)
        tellHelpers(m_repository, m_loginUrl, *m_login, true);
    m_login.reset();
    m_attempts = 0;
}

std::vector<std::string> Connection::takeSaid() { return linesOf(std::exchange(m_said, {})); }

} // namespace espalier
