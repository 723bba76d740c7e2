// SPDX-License-Identifier: MIT
#include "core/remotes/connection.h"

#include "core/git/authorities.h"
#include "core/git/library.h"
#include "core/git/sha256.h"
#include "core/git/text.h"
#include "core/history/places.h"

#include <mutex>

namespace espalier {

namespace {

constexpr std::size_t maxSaid = 1 << 16;
constexpr int mostAttempts = 3;

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

Connection::Connection(const Repository* repository, const Access& access, const Progress& progress)
    : m_repository(repository), m_access(access), m_progress(progress)
{
    boundWaiting();
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
    if (git_remote_connect_ext(m_remote.get(), direction, &options) < 0)
        return error("The remote cannot be reached");
    m_attempts = 0;
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
    const std::string known = user ? user : "";
    if (allowed & GIT_CREDENTIAL_USERNAME)
        return known.empty() ? GIT_EAUTH : git_credential_username_new(out, known.c_str());
    if (self->m_attempts++ == mostAttempts)
        return GIT_EAUTH;
    if ((allowed & GIT_CREDENTIAL_SSH_KEY) && self->m_attempts == 1)
        return git_credential_ssh_key_from_agent(out, known.c_str());
    if ((allowed & GIT_CREDENTIAL_USERPASS_PLAINTEXT) && self->m_attempts == 1 && !self->login.first.empty())
        return git_credential_userpass_plaintext_new(out, self->login.first.c_str(), self->login.second.c_str());
    if (!(allowed & GIT_CREDENTIAL_USERPASS_PLAINTEXT) || !self->m_access.askLogin)
        return GIT_EAUTH;
    const auto login = self->m_access.askLogin(withoutSecret(url), known);
    if (!login)
        return GIT_EAUTH;
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
    readAuthorities(); // what comes next connects
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
    std::string remedy = "Check the address and the connection, and whether you may use the remote";
    if (!m_distrusted.empty()) {
        what += ": the certificate of " + displayText(m_distrusted, 200) + " is not trusted";
        remedy = "Accept it when its fingerprint is the one that its owner publishes, or add the authority that signed "
                 "it to "
                 "the system";
        text.clear();
    } else if (m_attempts > 0) {
        remedy = "Check your login. Without git only an ssh agent's keys and a typed password are tried";
    }
    if (!text.empty())
        what += " [" + displayText(text, 1000) + "]";
    return fail(ErrorKind::Network, std::move(what), withoutSecret(m_url), std::move(remedy));
}

std::vector<std::string> Connection::takeSaid() { return linesOf(std::exchange(m_said, {})); }

} // namespace espalier
