// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "core/git/text.h"

#include <cstdio>
#include <termios.h>
#include <unistd.h>

namespace espalier {

nlohmann::json jsonId(const Oid& id) { return id.isZero() ? nlohmann::json() : nlohmann::json(id.hex()); }
nlohmann::json jsonId(const std::optional<Oid>& id) { return id ? jsonId(*id) : nlohmann::json(); }
nlohmann::json jsonText(std::string_view bytes) { return escapePath(bytes); }

nlohmann::json jsonMoves(const std::vector<RefMove>& moves)
{
    nlohmann::json rows = nlohmann::json::array();
    for (const RefMove& move : moves)
        rows.push_back({{"name", jsonText(move.name)}, {"old", jsonId(move.old)}, {"new", jsonId(move.now)}});
    return rows;
}

void printJson(const nlohmann::json& value)
{
    const std::string text = value.dump();
    std::fwrite(text.data(), 1, text.size(), stdout);
    std::fputc('\n', stdout);
}

void printLine(const std::string& line)
{
    const std::string safe = displayText(line, 100'000);
    std::fwrite(safe.data(), 1, safe.size(), stdout);
    std::fputc('\n', stdout);
}

void printNotices(const std::vector<std::string>& notices)
{
    for (const std::string& notice : notices)
        std::fprintf(stderr, "espalier: %s\n", displayText(notice).c_str());
}

namespace {

std::optional<std::string> askTerminal(const std::string& question, bool secret)
{
    std::FILE* terminal = std::fopen("/dev/tty", "r+");
    if (!terminal)
        return std::nullopt;
    std::fputs(displayText(question).c_str(), terminal);
    std::fflush(terminal);
    termios before{};
    const bool hide = secret && tcgetattr(fileno(terminal), &before) == 0;
    if (hide) {
        termios quiet = before;
        quiet.c_lflag &= ~tcflag_t(ECHO);
        tcsetattr(fileno(terminal), TCSAFLUSH, &quiet);
    }
    char buffer[1024];
    const bool got = std::fgets(buffer, sizeof buffer, terminal) != nullptr;
    if (hide) {
        tcsetattr(fileno(terminal), TCSAFLUSH, &before);
        std::fputc('\n', terminal);
    }
    std::fclose(terminal);
    if (!got)
        return std::nullopt;
    std::string answer = buffer;
    while (!answer.empty() && (answer.back() == '\n' || answer.back() == '\r'))
        answer.pop_back();
    return answer;
}

} // namespace

Access terminalAccess()
{
    Access access;
    access.askLogin = [](const std::string& url, const std::string& user) -> std::optional<Login> {
        const auto name = user.empty() ? askTerminal("User name for " + url + ": ", false) : user;
        if (!name)
            return std::nullopt;
        const auto secret = askTerminal("Password for " + *name + " at " + url + ": ", true);
        if (!secret)
            return std::nullopt;
        return Login{*name, *secret};
    };
    access.trustHost = [](const std::string& host, const std::string& fingerprint) {
        const auto answer =
            askTerminal("The identity of " + host + " is not known. Its fingerprint is " + fingerprint +
                            ". Compare it with what the host publishes. Type yes to trust it this time: ",
                        false);
        return answer == "yes";
    };
    return access;
}

} // namespace espalier
