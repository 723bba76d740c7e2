// SPDX-License-Identifier: MIT
#include "core/merge/wildcard.h"

#include <array>
#include <cctype>

namespace espalier {

namespace {

bool inClass(std::string_view name, unsigned char c)
{
    using Test = int (*)(int);
    static constexpr std::array<std::pair<std::string_view, Test>, 12> classes = {{{"alnum", std::isalnum},
                                                                                   {"alpha", std::isalpha},
                                                                                   {"blank", std::isblank},
                                                                                   {"cntrl", std::iscntrl},
                                                                                   {"digit", std::isdigit},
                                                                                   {"graph", std::isgraph},
                                                                                   {"lower", std::islower},
                                                                                   {"print", std::isprint},
                                                                                   {"punct", std::ispunct},
                                                                                   {"space", std::isspace},
                                                                                   {"upper", std::isupper},
                                                                                   {"xdigit", std::isxdigit}}};
    for (const auto& [known, test] : classes)
        if (known == name)
            return test(c) != 0;
    return false;
}

// Takes "[…]" off the pattern and says whether the set holds `c`; a set without an end holds nothing.
bool takeSet(std::string_view& pattern, unsigned char c)
{
    std::size_t at = 1;
    const bool negated = at < pattern.size() && (pattern[at] == '!' || pattern[at] == '^');
    at += negated;
    bool found = false;
    int previous = -1;
    for (bool first = true; at < pattern.size(); first = false) {
        if (pattern[at] == ']' && !first) {
            pattern.remove_prefix(at + 1);
            return found != negated && c != '/';
        }
        if (pattern.substr(at).starts_with("[:")) {
            if (const std::size_t end = pattern.find(":]", at + 2); end != std::string_view::npos) {
                found |= inClass(pattern.substr(at + 2, end - at - 2), c);
                at = end + 2;
                previous = -1;
                continue;
            }
        }
        const bool range = pattern[at] == '-' && previous >= 0 && at + 1 < pattern.size() && pattern[at + 1] != ']';
        at += range;
        at += pattern[at] == '\\' && at + 1 < pattern.size();
        const auto last = static_cast<unsigned char>(pattern[at++]);
        found |= range ? previous <= c && c <= last : c == last;
        previous = range ? -1 : last;
    }
    pattern = {};
    return false;
}

// Why a rest of the pattern does not match tells whether an earlier star can help (git's wildmatch.c, common practice):
// without that, "a*a*a*b" takes a time that grows with the power of its stars.
enum class Match : std::uint8_t {
    Yes,
    No,
    NoLonger,    // the text is too short whatever a star holds
    NotInFolder, // only a star that crosses folders can help
};

// Depth: at most one call a star, and a pattern is no longer than a line.
Match match(std::string_view pattern, std::string_view text, bool atFolder, long& steps)
{
    while (!pattern.empty()) {
        if (--steps < 0)
            return Match::NoLonger;
        const char sign = pattern.front();
        if (sign == '*') {
            const std::size_t stars = std::min(pattern.find_first_not_of('*'), pattern.size());
            const std::string_view rest = pattern.substr(stars);
            const bool crosses = stars > 1 && atFolder && (rest.empty() || rest.front() == '/');
            if (crosses && !rest.empty() && match(rest.substr(1), text, true, steps) == Match::Yes)
                return Match::Yes; // no folder at all
            if (rest.empty())
                return crosses || !text.contains('/') ? Match::Yes : Match::NotInFolder;
            for (std::size_t at = 0;; ++at) {
                const Match found = match(rest, text.substr(at), false, steps);
                if (found == Match::Yes || found == Match::NoLonger || (found == Match::NotInFolder && !crosses))
                    return found;
                if (at == text.size())
                    return Match::NoLonger;
                if (text[at] == '/' && !crosses)
                    return Match::NotInFolder;
            }
        }
        if (text.empty())
            return Match::NoLonger;
        const char c = text.front();
        if (sign == '?') {
            if (c == '/')
                return Match::No;
            pattern.remove_prefix(1);
        } else if (sign == '[') {
            steps -= long(std::min(pattern.find(']'), pattern.size()));
            if (!takeSet(pattern, static_cast<unsigned char>(c)))
                return Match::No;
        } else {
            const bool escaped = sign == '\\' && pattern.size() > 1;
            if (pattern[escaped] != c)
                return Match::No;
            pattern.remove_prefix(1 + std::size_t(escaped));
        }
        atFolder = c == '/';
        text.remove_prefix(1);
    }
    return text.empty() ? Match::Yes : Match::No;
}

} // namespace

bool matchesWildcard(std::string_view pattern, std::string_view text, long& steps)
{
    // git compares what comes before the first sign by itself, and a "**" right behind it then stands at a beginning
    // (dir.c, match_pathname; common practice): "b**/a" matches "ba".
    const std::size_t plain = std::min(pattern.find_first_of("*?[\\"), pattern.size());
    if (!text.starts_with(pattern.substr(0, plain)))
        return false;
    return match(pattern.substr(plain), text.substr(plain), true, steps) == Match::Yes && steps >= 0;
}

} // namespace espalier
