// SPDX-License-Identifier: MIT
#include "core/remotes/ssh_questions.h"

#include "core/git/text.h"

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>

namespace espalier {

namespace {

constexpr const char* socketVariable = "ESPALIER_SSH_QUESTIONS";
constexpr std::size_t longestQuestion = 1 << 14;
constexpr char answered = 'a', noAnswer = 'n';

std::optional<sockaddr_un> addressOf(const std::string& path)
{
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    if (path.empty() || path.size() >= sizeof address.sun_path)
        return {};
    std::memcpy(address.sun_path, path.c_str(), path.size() + 1);
    return address;
}

bool sendAll(int file, std::string_view bytes)
{
    while (!bytes.empty()) {
        const ssize_t sent = ::send(file, bytes.data(), bytes.size(), MSG_NOSIGNAL);
        if (sent < 0 && errno == EINTR)
            continue;
        if (sent <= 0)
            return false;
        bytes.remove_prefix(std::size_t(sent));
    }
    return true;
}

// Until the other end has said all; nothing when it broke off or said too much.
std::optional<std::string> receiveAll(int file)
{
    std::string text;
    char buffer[4096];
    for (;;) {
        const ssize_t got = ::recv(file, buffer, sizeof buffer, 0);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0 || text.size() > longestQuestion)
            return {};
        if (got == 0)
            return text;
        text.append(buffer, std::size_t(got));
    }
}

// SSH_ASKPASS_PROMPT says what kind of answer ssh wants (ssh(1)); the question about a host key is told by the answers it names.
SshQuestion::Kind kindOf(const std::string& prompt, const std::string& words)
{
    if (prompt == "none")
        return SshQuestion::Kind::Notice;
    if (prompt == "confirm")
        return SshQuestion::Kind::Consent;
    return words.find("(yes/no") != std::string::npos ? SshQuestion::Kind::HostKey : SshQuestion::Kind::Secret;
}

} // namespace

std::string environmentVariable(const char* name)
{
    const char* value = std::getenv(name);
    return value ? value : "";
}

SshQuestions::SshQuestions(const Access& access, const Progress& progress, bool askPassIsSet)
    : m_access(access), m_progress(progress)
{
    if ((!m_access.askSsh && !m_access.askLogin) || m_access.sshCarrier.empty())
        return;
    const std::string chosen = environmentVariable("SSH_ASKPASS");
    m_chosenByUser = !chosen.empty() && ::access(chosen.c_str(), X_OK) == 0;
    m_gitChosenByUser = askPassIsSet || m_chosenByUser || !environmentVariable("GIT_ASKPASS").empty();
    if (!m_chosenByUser || !m_gitChosenByUser)
        listen();
    if (m_listening.isOpen())
        m_thread = std::jthread([this](const std::stop_token& stop) { serve(stop); });
}

SshQuestions::~SshQuestions()
{
    m_thread.request_stop();
    if (m_thread.joinable())
        m_thread.join();
    std::error_code ignored;
    if (!m_folder.empty())
        std::filesystem::remove_all(m_folder, ignored);
}

void SshQuestions::listen()
{
    std::error_code error;
    const std::string temporary = std::filesystem::temp_directory_path(error).string();
    for (const std::string& place : {environmentVariable("XDG_RUNTIME_DIR"), temporary, std::string("/tmp")}) {
        std::string folder = place + "/espalier-XXXXXX"; // mkdtemp(3): nobody else may enter
        if (place.empty() || !addressOf(folder + "/ssh") || !::mkdtemp(folder.data()))
            continue;
        m_folder = folder;
        m_socket = folder + "/ssh";
        const auto address = addressOf(m_socket);
        m_listening.set(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
        if (m_listening.isOpen() &&
            ::bind(m_listening.get(), reinterpret_cast<const sockaddr*>(&*address), sizeof *address) == 0 &&
            ::listen(m_listening.get(), 4) == 0)
            return;
        m_listening.close();
        std::filesystem::remove_all(m_folder, error);
        m_folder.clear();
    }
}

std::map<std::string, std::optional<std::string>> SshQuestions::environment() const
{
    std::map<std::string, std::optional<std::string>> variables;
    // Where a window answers, or nobody does, git does not wait for a terminal.
    if (!leavesTerminal() || !m_access.askLogin)
        variables["GIT_TERMINAL_PROMPT"] = "0";
    if (m_chosenByUser && environmentVariable("SSH_ASKPASS_REQUIRE").empty())
        variables["SSH_ASKPASS_REQUIRE"] = "prefer";
    if (!m_listening.isOpen())
        return variables;
    variables[socketVariable] = m_socket;
    if (!m_chosenByUser && m_access.askSsh) {
        variables["SSH_ASKPASS"] = m_access.sshCarrier;
        variables["SSH_ASKPASS_REQUIRE"] = "force";
    }
    if (!m_gitChosenByUser && m_access.askLogin)
        variables["GIT_ASKPASS"] = m_access.sshCarrier;
    return variables;
}

void SshQuestions::nextProgram(bool refused)
{
    const std::lock_guard guard(m_mutex);
    m_told.clear();
    m_gaveLogin = m_named = false;
    if (refused) {
        m_answers.clear();
        m_login.reset();
    }
}

void SshQuestions::knowName(const std::string& host, const std::string& user)
{
    const std::lock_guard guard(m_mutex);
    m_knownHost = host;
    m_knownName = user;
}

void SshQuestions::serve(const std::stop_token& stop)
{
    while (!stop.stop_requested()) {
        pollfd waiting{m_listening.get(), POLLIN, 0};
        if (::poll(&waiting, 1, 100) <= 0)
            continue;
        const Fd peer(::accept4(m_listening.get(), nullptr, nullptr, SOCK_CLOEXEC));
        if (peer.isOpen())
            answer(peer.get());
    }
}

void SshQuestions::answer(int peer)
{
    ucred who{};
    socklen_t size = sizeof who;
    const timeval patience{10, 0}; // for what the carrier has to say at once, not for the person's answer
    if (::getsockopt(peer, SOL_SOCKET, SO_PEERCRED, &who, &size) != 0 || who.uid != ::geteuid() ||
        ::setsockopt(peer, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience) != 0)
        return;
    const auto asked = receiveAll(peer);
    if (!asked)
        return;
    const std::size_t end = asked->find('\0');
    if (end == std::string::npos)
        return;
    const std::string words = asked->substr(end + 1);
    const auto answer = answerTo(asked->substr(0, end), words);
    sendAll(peer, answer ? answered + *answer : std::string(1, noAnswer));
}

std::optional<std::string> SshQuestions::answerTo(const std::string& prompt, const std::string& words)
{
    if (m_progress.stopped())
        return {};
    if (words.starts_with("Username for '") || words.starts_with("Password for 'http"))
        return loginFor(words);
    const SshQuestion question{kindOf(prompt, words), words};
    if (question.kind == SshQuestion::Kind::Notice) {
        m_progress.report(displayText(words, 200));
        return {};
    }
    const bool isSecret = question.kind == SshQuestion::Kind::Secret;
    {
        const std::lock_guard guard(m_mutex);
        // A program that asks once more was not content with the answer.
        const bool again = !m_told.insert(words).second;
        const auto known = m_answers.find(words);
        if (isSecret && !again && known != m_answers.end())
            return known->second;
    }
    const auto answer = m_access.askSsh ? m_access.askSsh(question) : std::nullopt;
    m_hostRefused = m_hostRefused || (!answer && question.kind == SshQuestion::Kind::HostKey);
    if (answer && isSecret) {
        const std::lock_guard guard(m_mutex);
        m_answers[words] = *answer;
    }
    return answer;
}

// git asks in two steps, "Username for 'https://host': " and "Password for 'https://user@host': " (gitcredentials(7)); a person is
// asked for both at once.
std::optional<std::string> SshQuestions::loginFor(const std::string& words)
{
    const std::size_t from = words.find('\'') + 1, to = words.rfind('\'');
    if (to == std::string::npos || to < from || !m_access.askLogin)
        return {};
    std::string url = words.substr(from, to - from), user;
    if (const std::size_t host = url.find("://") + 3, at = url.rfind('@'); at != std::string::npos && at >= host) {
        user = url.substr(host, at - host);
        url.erase(host, at + 1 - host);
    }
    const bool forName = words.starts_with("Username");
    {
        const std::lock_guard guard(m_mutex);
        if (!forName && user.empty() && url == m_knownHost)
            user = m_knownName;
        const bool again = !m_told.insert(words).second;
        // A name comes back in the second question, but in the form that addresses want.
        if (!again && m_login && m_loginUrl == url && (forName || m_named || m_login->user == user)) {
            m_named = m_named || forName;
            return forName ? m_login->user : m_login->secret;
        }
    }
    const auto login = m_access.askLogin(url, user);
    if (!login)
        return {};
    const std::lock_guard guard(m_mutex);
    m_gaveLogin = true;
    m_named = forName;
    m_loginUrl = url;
    m_login = login;
    return forName ? login->user : login->secret;
}

std::optional<int> carrySshQuestion(int argc, char** argv)
{
    const auto address = addressOf(environmentVariable(socketVariable));
    if (!address || argc != 2)
        return {};
    const Fd socket(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
    if (!socket.isOpen() || ::connect(socket.get(), reinterpret_cast<const sockaddr*>(&*address), sizeof *address) != 0)
        return 1;
    const std::string question = environmentVariable("SSH_ASKPASS_PROMPT") + '\0' + argv[1];
    if (!sendAll(socket.get(), question) || ::shutdown(socket.get(), SHUT_WR) != 0)
        return 1;
    const auto said = receiveAll(socket.get());
    if (!said || said->empty() || said->front() != answered)
        return 1;
    return std::printf("%s\n", said->c_str() + 1) < 0 || std::fflush(stdout) != 0 ? 1 : 0;
}

} // namespace espalier
