// SPDX-License-Identifier: MIT
#include "core/remotes/url_secret.h"

#include "core/history/places.h"

#include <cctype>
#include <cstdint>

namespace espalier {

namespace {

constexpr std::size_t shortestToken = 16, shortestPassword = 4;

// RFC 3986, 2.1.
std::string unescaped(std::string_view text)
{
    std::string plain;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const bool escaped = text[i] == '%' && i + 2 < text.size() && std::isxdigit(std::uint8_t(text[i + 1])) &&
                             std::isxdigit(std::uint8_t(text[i + 2]));
        plain += escaped ? char(std::stoi(std::string(text.substr(i + 1, 2)), nullptr, 16)) : text[i];
        i += escaped ? 2 : 0;
    }
    return plain;
}

// Where in the address the login stands, its '@' with it; empty where there is none.
std::string_view loginIn(std::string_view url)
{
    const std::size_t scheme = url.find("://");
    if (scheme == url.npos)
        return {};
    const std::string_view rest = url.substr(scheme + 3), host = rest.substr(0, rest.find_first_of("/?#"));
    const std::size_t at = host.rfind('@');
    return at == host.npos ? std::string_view() : host.substr(0, at + 1);
}

// A name of the address's own for git's arguments, where what is shown of it does not tell it from another.
std::string nameFor(const std::string& shown, const std::string& without)
{
    return shown == without ? shown : shown + "#" + std::to_string(std::hash<std::string>()(without) % 1'000'000);
}

// The password that the address has, or the one that whoever asks for passwords gives; the question goes without the name. As git
// asks itself (gitcredentials(7)): GIT_ASKPASS, core.askPass, SSH_ASKPASS.
constexpr const char* givenHelper =
    "!f() { test \"$1\" = get && printf 'password=%s\\n' \"$ESPALIER_URL_PASSWORD\"; }; f";
constexpr const char* askingHelper =
    "!f() { test \"$1\" = get || return 0; ask=\"${GIT_ASKPASS:-$(git config --type=path core.askPass)}\"; "
    "ask=\"${ask:-$SSH_ASKPASS}\"; test -n \"$ask\" || return 0; if said=$(\"$ask\" \"$ESPALIER_URL_QUESTION\"); "
    "then printf 'password=%s\\n' \"$said\"; else echo quit=1; fi; }; f";

void addLogin(HiddenUrl& hidden, const std::string& user, const std::optional<std::string>& password)
{
    const std::string scope = "credential." + hidden.host;
    if (!user.empty())
        hidden.config.emplace_back(scope + ".username", user);
    // As git does where the address has a name: without being asked first. Known from git 2.46 on.
    hidden.config.emplace_back("http." + hidden.host + ".proactiveAuth", "auto");
    if (password) {
        // The empty one forgets the user's helpers for this address: the address has settled whose password it is.
        hidden.config.emplace_back(scope + ".helper", "");
        hidden.config.emplace_back(scope + ".helper", givenHelper);
        hidden.environment["ESPALIER_URL_PASSWORD"] = *password;
        return;
    }
    if (user.empty())
        return;
    hidden.user = user;
    hidden.config.emplace_back(scope + ".helper", askingHelper);
    hidden.environment["ESPALIER_URL_QUESTION"] = "Password for '" + hidden.host + "': ";
}

} // namespace

std::string HiddenUrl::cleaned(std::string text) const
{
    for (const auto& [what, by] : words)
        for (std::size_t at = 0; !what.empty() && (at = text.find(what, at)) != std::string::npos; at += by.size())
            text.replace(at, what.size(), by);
    return text;
}

std::pair<std::string, std::string> loginOf(const std::string& url)
{
    std::string_view login = loginIn(url);
    if (login.empty())
        return {};
    login.remove_suffix(1);
    const std::size_t colon = login.find(':');
    return {unescaped(login.substr(0, colon)),
            colon == login.npos ? std::string() : unescaped(login.substr(colon + 1))};
}

HiddenUrl hideSecret(const std::string& url, const std::string& writtenAs)
{
    HiddenUrl hidden;
    hidden.url = hidden.address = hidden.place = url;
    const std::string shown = withoutSecret(url);
    if (shown == url)
        return hidden;
    const std::string_view login = loginIn(url);
    const bool isWeb = loginIn(shown).empty();
    // Where ssh is to know whose it is, the name stays.
    std::string& without = hidden.place;
    if (!login.empty())
        without.replace(std::size_t(login.data() - url.data()), login.size(), loginIn(shown));
    hidden.address = nameFor(shown, without);
    for (const char* kind : {".insteadOf", ".pushInsteadOf"})
        for (const std::string& name : {url, hidden.address, writtenAs})
            if (!name.empty())
                hidden.config.emplace_back("url." + without + kind, name);
    hidden.words.emplace_back(url, shown);
    hidden.words.emplace_back(without, shown);
    const std::size_t from = without.find("://") + 3, path = without.find_first_of("/?#", from);
    hidden.host = without.substr(0, path);
    if (const std::size_t query = path == without.npos ? path : without.find_first_of("?#", path);
        isWeb && query != without.npos)
        hidden.words.emplace_back(without.substr(query), "?***");
    if (login.empty() || !isWeb)
        return hidden;
    const auto [user, password] = loginOf(url);
    addLogin(hidden, user, login.contains(':') ? std::optional(password) : std::nullopt);
    hidden.words.emplace_back("//" + std::string(login), "//");
    hidden.words.emplace_back("//" + user + "@", "//");
    // The other side may say them too; a short name is a word like others.
    if (user.size() >= shortestToken)
        hidden.words.emplace_back(user, "***");
    if (password.size() >= shortestPassword)
        hidden.words.emplace_back(password, "***");
    // git names the helper that knows of no password.
    hidden.words.emplace_back(askingHelper, "who was asked for it");
    return hidden;
}

} // namespace espalier
