// SPDX-License-Identifier: MIT
#include "core/remotes/git_words.h"

#include "core/git/lock_files.h"
#include "core/git/text.h"

#include <charconv>
#include <filesystem>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t mostBytes = std::size_t(1) << 16; // kept of what is said

std::string_view trimmed(std::string_view text)
{
    constexpr std::string_view erase = "\x1b[K"; // behind a line, where git thinks of a terminal
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t' || text.ends_with(erase)))
        text.remove_suffix(text.ends_with(erase) ? erase.size() : 1);
    return text;
}

// "Receiving objects:  45% (9/20), 1.20 MiB | …" or "Enumerating objects: 20, done.": git's progress.c.
bool isProgress(std::string_view text, const Progress& progress)
{
    const std::size_t colon = text.find(": ");
    if (colon == std::string_view::npos)
        return false;
    std::string_view rest = text.substr(colon + 2);
    rest.remove_prefix(std::min(rest.find_first_not_of(' '), rest.size()));
    std::uint64_t first = 0, done = 0, total = 0;
    const char* const end = rest.data() + rest.size();
    const auto number = std::from_chars(rest.data(), end, first);
    if (number.ec != std::errc{})
        return false;
    const std::string_view behind(number.ptr, std::size_t(end - number.ptr));
    if (behind.starts_with("% (")) {
        const auto part = std::from_chars(number.ptr + 3, end, done);
        if (part.ec != std::errc{} || part.ptr == end || *part.ptr != '/' ||
            std::from_chars(part.ptr + 1, end, total).ec != std::errc{})
            return false;
        progress.report(displayText(text.substr(0, colon), 100), done, total);
        return true;
    }
    if (!behind.empty() && !behind.starts_with(", done"))
        return false;
    progress.report(displayText(text.substr(0, colon), 100), first, 0);
    return true;
}

// What git adds to every failure, and says nothing about this one.
bool isBoilerplate(std::string_view text)
{
    if (text.starts_with("Total ") && text.contains(" (delta "))
        return true;
    for (const std::string_view start :
         {"hint: ", "fatal: Could not read from remote repository", "Please make sure you have the correct access",
          "and the repository exists.", "error: failed to push some refs to", "error: unable to read askpass response",
          "Everything up-to-date", "To ", "Cloning into '", "From ", "warning: redirecting to ",
          "fatal: the remote end hung up unexpectedly"})
        if (text.starts_with(start))
            return true;
    return false;
}

struct Advice {
    std::string_view words;  // of git, curl or OpenSSH, in English
    std::string_view reason; // in ours; empty: theirs are shown
    std::string_view remedy;
};
// The first that is found counts.
constexpr Advice advices[] = {
    {"REMOTE HOST IDENTIFICATION HAS CHANGED", "",
     "Somebody may be listening in. Ask the host's owner whether its key has changed and compare the fingerprint; only "
     "then take the old key away with ssh-keygen -R"},
    {"Host key verification failed", "",
     "Connect once with ssh in a terminal, compare the fingerprint with the one that the host's owner publishes, and "
     "try "
     "again"},
    {"certificate has expired", "the certificate of the server has expired",
     "Ask the server's owner for a new one; check this machine's clock"},
    {"not yet activated", "the certificate of the server is not valid yet", "Check this machine's clock"},
    {"certificate is not yet valid", "the certificate of the server is not valid yet", "Check this machine's clock"},
    {"does not match target host", "the certificate of the server is for another host",
     "Check the address; it may lead to the wrong machine"},
    {"hostname mismatch", "the certificate of the server is for another host",
     "Check the address; it may lead to the wrong machine"},
    {"SSL certificate problem", "the certificate of the server is not trusted",
     "Name the file of the authority that signed it in http.<address>.sslCAInfo, or add it to the system's"},
    {"server verification failed", "the certificate of the server is not trusted",
     "Name the file of the authority that signed it in http.<address>.sslCAInfo, or add it to the system's"},
    {"certificate verification failed", "the certificate of the server is not trusted",
     "Name the file of the authority that signed it in http.<address>.sslCAInfo, or add it to the system's"},
    {"Authentication failed", "", "Check your login; a credential helper (credential.helper) can keep it"},
    {"could not read Username", "the server wants a login", "Set up a credential helper (credential.helper) for it"},
    {"could not read Password", "the server wants a login", "Set up a credential helper (credential.helper) for it"},
    // Our own words, see url_secret.cpp.
    {"'who was asked for it' told us to quit", "the server wants a login",
     "Set up a credential helper (credential.helper) for it"},
    {"returned error: 403", "", "Check your login, and whether you may use this repository"},
    {"Permission denied (", "", "Check which key or login ssh uses for this host, and whether the server knows it"},
    {"Too many authentication failures", "", "Name the one key for this host in ssh's configuration (IdentitiesOnly)"},
    {"does not appear to be a git repository", "", "Check the address; the repository may have moved"},
    {"not found", "", "Check the address, and whether you may see the repository"},
    {"does not exist", "", "Check the address; the repository may have moved"},
    {"Could not resolve proxy", "", "Check the proxy's address (http.proxy, https_proxy) and the network"},
    {"CONNECT tunnel failed", "the proxy did not let it through",
     "Check the proxy's address and login (http.proxy, https_proxy), and whether it lets you reach this server"},
    {"Failed to connect to", "", "Check the address and the network, and the proxy where one is set (http.proxy)"},
    {"Could not resolve host", "", "Check the address and the network"},
    {"does not support setting port", "", "Set ssh.variant to ssh when your ssh program does take a port"},
    {"strange hostname", "", "Check the remote's address"},
    {"strange pathname", "", "Check the remote's address"},
    {"dubious ownership", "", "The repository belongs to another user; git tells how to trust it (safe.directory)"},
    // transfer.fsckObjects, fetch.fsckObjects.
    {"fsck error in pack", "git's check found a bad object",
     "Ask the owner of the other side to mend it; an object named in the file that fetch.fsck.skipList names is taken "
     "all "
     "the same"},
    // In the middle of a pack (git's fetch-pack.c, index-pack.c).
    {"early EOF", "the connection broke off in the middle", "Check the connection, then try again"},
    {"unexpected disconnect", "the connection broke off in the middle", "Check the connection, then try again"},
    {"No space left on device", "", "Free some space, then try again"},
};

} // namespace

void GitWords::hear(std::string_view bytes)
{
    m_rest += bytes;
    std::size_t from = 0;
    for (std::size_t end; (end = m_rest.find_first_of("\n\r", from)) != std::string::npos; from = end + 1)
        line(std::string_view(m_rest).substr(from, end - from));
    m_rest.erase(0, from);
    if (m_rest.size() > mostBytes)
        m_rest.clear();
}

void GitWords::line(std::string_view text)
{
    constexpr std::string_view mark = "remote: ";
    const bool theirs = text.starts_with(mark) || text == "remote:";
    text.remove_prefix(theirs ? std::min(mark.size(), text.size()) : 0);
    text = trimmed(text);
    if (text.empty() || isProgress(text, *m_progress) || m_size > mostBytes)
        return;
    m_size += text.size();
    std::string kept(text);
    (theirs ? m_others : m_own).push_back(m_clean ? m_clean(std::move(kept)) : std::move(kept));
}

std::vector<std::string> GitWords::own() const
{
    std::vector<std::string> lines;
    const auto add = [&](std::string_view text) {
        if (!trimmed(text).empty() && !isBoilerplate(text))
            lines.emplace_back(trimmed(text));
    };
    for (const std::string& text : m_own)
        add(text);
    add(m_clean ? m_clean(m_rest) : m_rest);
    return lines;
}

bool GitWords::has(std::string_view text) const
{
    return hasOwn(text) || std::ranges::any_of(m_others, [&](const auto& line) { return line.contains(text); });
}

bool GitWords::hasOwn(std::string_view text) const
{
    return std::ranges::any_of(m_own, [&](const auto& line) { return line.contains(text); }) || m_rest.contains(text);
}

std::vector<std::string> shownLines(const std::vector<std::string>& lines)
{
    std::vector<std::string> shown;
    for (const std::string& line : lines)
        shown.push_back(displayText(line, 500));
    return shown;
}

std::filesystem::path lockInTheWay(const GitWords& words)
{
    std::vector<std::string> lines = words.own();
    lines.insert(lines.end(), words.others().begin(), words.others().end());
    for (const std::string& line : lines) {
        constexpr std::string_view start = "Unable to create '", end = ".lock': File exists";
        const std::size_t from = line.find(start), to = line.find(end);
        if (from == std::string::npos || to == std::string::npos || to < from)
            continue;
        constexpr std::size_t suffix = 5; // ".lock"
        const fs::path lock = line.substr(from + start.size(), to + suffix - from - start.size());
        std::error_code ignored;
        if (lock.is_absolute() && fs::exists(lock, ignored))
            return lock.lexically_normal();
    }
    return {};
}

Error explain(const std::string& what, const std::string& address, const GitWords& words)
{
    Error error{ErrorKind::Network, what, address,
                "Check the address and the connection, and whether you may use the remote"};
    if (const fs::path lock = lockInTheWay(words); !lock.empty())
        return lockIsHeld(what + ": a lock is in the way", lock).error();
    std::vector<std::string> reasons = words.own();
    // The other side's "ERROR: …" before it hangs up.
    if (reasons.empty())
        reasons = words.others();
    std::string ours;
    bool known = false;
    for (const Advice& advice : advices) {
        const auto found = std::ranges::find_if(reasons, [&](const auto& line) { return line.contains(advice.words); });
        if (found == reasons.end())
            continue;
        error.remedy = advice.remedy;
        ours = advice.reason;
        known = true;
        // The line that tells comes first, whatever stands around it (a banner, what to delete).
        std::rotate(reasons.begin(), found, found + 1);
        break;
    }
    if (!ours.empty())
        error.what += ": " + ours;
    constexpr std::size_t mostLines = 4;
    std::string text;
    for (std::size_t i = 0; i < reasons.size(); ++i) {
        if ((known && i == 0) || reasons.size() - i < mostLines)
            text += (text.empty() ? "" : " / ") + displayText(reasons[i], 300);
    }
    if (!text.empty())
        error.what += " [" + text + "]";
    return error;
}

} // namespace espalier
