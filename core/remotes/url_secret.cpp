// SPDX-License-Identifier: MIT
#include "core/remotes/url_secret.h"

#include "core/history/places.h"

#include <cctype>

namespace espalier {

namespace {

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

} // namespace

void keepSecret(const std::string& url, std::vector<std::pair<std::string, std::string>>& config,
                std::map<std::string, std::optional<std::string>>& environment)
{
    const std::string clean = withoutSecret(url);
    if (clean == url)
        return;
    // What withoutSecret() took out begins at the colon and ends before the '@'.
    const std::size_t colon = url.find(':', url.find("://") + 3), at = colon + url.size() - clean.size();
    const std::string login = url.substr(0, at + 1), shown = clean.substr(0, colon + 1);
    const std::size_t host = colon + 1;
    const std::string variable = "ESPALIER_URL_SECRET_" + std::to_string(environment.size());
    environment[variable] = unescaped(std::string_view(url).substr(colon + 1, at - colon - 1));
    config.emplace_back("url." + shown + ".insteadOf", login);
    const std::string scope = "credential." + clean.substr(0, clean.find('/', host)) + ".helper";
    // The empty one forgets the user's helpers for this address: the address has settled whose password it is.
    config.emplace_back(scope, "");
    config.emplace_back(scope, "!f() { test \"$1\" = get && printf 'password=%s\\n' \"$" + variable + "\"; }; f");
}

} // namespace espalier
