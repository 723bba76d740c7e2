// SPDX-License-Identifier: MIT
#include "core/remotes/ssh_transport.h"

#include "core/git/conversation.h"
#include "core/git/process.h"
#include "core/git/text.h"
#include "core/remotes/ssh_questions.h"

#include <git2/sys/errors.h>

namespace espalier {

namespace {

struct Address {
    std::string host, port, path; // host with the user in front
};

// "ssh://user@host:22/path" or "user@host:path", as git-fetch(1), "GIT URLS", has them.
Result<Address> parseAddress(const std::string& url)
{
    Address address;
    std::string_view rest = url;
    const std::size_t scheme = rest.find("://");
    if (scheme != std::string_view::npos) {
        rest.remove_prefix(scheme + 3);
        const std::size_t slash = std::min(rest.find('/'), rest.size());
        address.host = rest.substr(0, slash);
        address.path = rest.substr(slash);
        if (address.path.starts_with("/~"))
            address.path.erase(0, 1);
        const std::size_t bracket = address.host.rfind(']');
        const std::size_t colon = address.host.rfind(':');
        if (colon != std::string::npos && (bracket == std::string::npos || colon > bracket)) {
            address.port = address.host.substr(colon + 1);
            address.host.resize(colon);
        }
        // A password has no use here: ssh takes none from the outside.
        const std::size_t at = address.host.rfind('@'), secret = address.host.find(':');
        if (at != std::string::npos && secret < at)
            address.host.erase(secret, at - secret);
    } else {
        const std::size_t bracket = rest.find(']');
        const std::size_t colon = rest.find(':', bracket == std::string_view::npos ? 0 : bracket);
        address.host = rest.substr(0, colon);
        address.path = colon == std::string_view::npos ? std::string() : std::string(rest.substr(colon + 1));
    }
    std::erase(address.host, '[');
    std::erase(address.host, ']');
    const bool portIsNumber = std::ranges::all_of(address.port, [](char c) { return c >= '0' && c <= '9'; });
    if (address.host.empty() || address.path.empty() || address.host.starts_with('-') ||
        address.path.starts_with('-') || !portIsNumber || address.host.find("@-") != std::string::npos)
        return fail(ErrorKind::Usage, "This is not an address that ssh can take", displayText(url, 300),
                    "Check the remote's address");
    return address;
}

enum class Variant { OpenSsh, Simple, Plink };

Variant variantOf(const Repository* repository, const std::string& program)
{
    std::string name = environmentVariable("GIT_SSH_VARIANT");
    if (name.empty() && repository)
        name = repository->config("ssh.variant").value_or("");
    if (name.empty() || name == "auto") {
        const std::string first = program.substr(0, program.find(' '));
        name = std::filesystem::path(first).stem().string();
    }
    // git documents several names for programs that take the same options; all but one end like this.
    if (name == "putty" || name.ends_with("plink"))
        return Variant::Plink;
    return name == "simple" ? Variant::Simple : Variant::OpenSsh;
}

struct Stream : git_smart_subtransport_stream {
    std::optional<SshQuestions> questions; // outlives the child, which asks them
    std::optional<Conversation> child;
    SshContext* context = nullptr;
};

struct Subtransport : git_smart_subtransport {
    SshContext* context = nullptr;
    Stream* stream = nullptr;
};

int report(const Error& error)
{
    git_error_set_str(GIT_ERROR_SSH, error.what.c_str());
    return error.kind == ErrorKind::Cancelled ? GIT_EUSER : -1;
}

// For the words of an error, should there be one.
void remember(const Stream& stream)
{
    stream.context->errors = stream.child->errors();
    stream.context->hostRefused = stream.questions->hostRefused();
}

int readStream(git_smart_subtransport_stream* base, char* buffer, size_t size, size_t* got)
{
    auto* stream = static_cast<Stream*>(base);
    auto count = stream->child->read(buffer, size, *stream->context->progress);
    remember(*stream);
    if (!count)
        return report(count.error());
    *got = *count;
    if (*count == 0) {
        // The reason is in what ssh writes last; it is complete once ssh has ended.
        stream->child->wait();
        remember(*stream);
    }
    return 0;
}

int writeStream(git_smart_subtransport_stream* base, const char* bytes, size_t size)
{
    auto* stream = static_cast<Stream*>(base);
    auto sent = stream->child->write({bytes, size}, *stream->context->progress);
    remember(*stream);
    return sent ? 0 : report(sent.error());
}

void freeStream(git_smart_subtransport_stream* base)
{
    auto* stream = static_cast<Stream*>(base);
    static_cast<Subtransport*>(stream->subtransport)->stream = nullptr;
    delete stream;
}

int startAction(git_smart_subtransport_stream** out, git_smart_subtransport* base, const char* url,
                git_smart_service_t action)
{
    auto* transport = static_cast<Subtransport*>(base);
    if (action == GIT_SERVICE_UPLOADPACK || action == GIT_SERVICE_RECEIVEPACK) {
        *out = transport->stream;
        return transport->stream ? 0 : -1;
    }
    const bool fetches = action == GIT_SERVICE_UPLOADPACK_LS;
    auto command = sshCommand(transport->context->repository, url, fetches ? "git-upload-pack" : "git-receive-pack");
    if (!command)
        return report(command.error());
    auto stream = std::make_unique<Stream>();
    stream->questions.emplace(*transport->context->access, *transport->context->progress);
    // Where nobody answers it may ask on the terminal, as it does for git.
    auto child =
        Conversation::start({.argv = *command, .environment = stream->questions->environment(), .interactive = true});
    if (!child)
        return report(child.error());
    stream->subtransport = base;
    stream->read = readStream;
    stream->write = writeStream;
    stream->free = freeStream;
    stream->context = transport->context;
    stream->child.emplace(std::move(*child));
    transport->stream = stream.release();
    *out = transport->stream;
    return 0;
}

int makeSubtransport(git_smart_subtransport** out, git_transport*, void* context)
{
    auto transport = std::make_unique<Subtransport>();
    transport->context = static_cast<SshContext*>(context);
    transport->action = startAction;
    transport->close = [](git_smart_subtransport*) { return 0; };
    transport->free = [](git_smart_subtransport* base) { delete static_cast<Subtransport*>(base); };
    *out = transport.release();
    return 0;
}

} // namespace

bool isSshUrl(const std::string& url)
{
    for (const char* scheme : {"ssh://", "git+ssh://", "ssh+git://"}) {
        if (url.starts_with(scheme))
            return true;
    }
    const std::size_t colon = url.find(':'), slash = url.find('/');
    return url.find("://") == std::string::npos && colon != std::string::npos && colon < slash;
}

Result<std::vector<std::string>> sshCommand(const Repository* repository, const std::string& url,
                                            const std::string& service)
{
    auto address = parseAddress(url);
    if (!address)
        return std::unexpected(address.error());
    std::string shell = environmentVariable("GIT_SSH_COMMAND");
    if (shell.empty() && repository)
        shell = repository->config("core.sshCommand").value_or("");
    const std::string program = environmentVariable("GIT_SSH").empty() ? "ssh" : environmentVariable("GIT_SSH");
    const Variant variant = variantOf(repository, shell.empty() ? program : shell);
    std::vector<std::string> command;
    if (!shell.empty())
        command = {"/bin/sh", "-c", shell + " \"$@\"", shell};
    else
        command = {program};
    if (!address->port.empty()) {
        if (variant == Variant::Simple)
            return fail(ErrorKind::Usage, "The configured ssh program takes no port", displayText(url, 300),
                        "Set ssh.variant to ssh if it does");
        command.push_back(variant == Variant::Plink ? "-P" : "-p");
        command.push_back(address->port);
    }
    command.push_back(address->host);
    command.push_back(service + " " + shellQuoted(address->path));
    return command;
}

int makeSshTransport(git_transport** transport, git_remote* owner, SshContext& context)
{
    git_smart_subtransport_definition definition{makeSubtransport, 0, &context};
    return git_transport_smart(transport, owner, &definition);
}

} // namespace espalier
