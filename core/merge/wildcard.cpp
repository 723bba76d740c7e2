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

// `steps` bounds the work on a crafted pattern.
bool matches(std::string_view pattern, std::string_view text, bool atFolder, int& steps)
{
    while (!pattern.empty()) {
        if (--steps < 0)
            return false;
        const char sign = pattern.front();
        if (sign == '*') {
            const std::size_t stars = std::min(pattern.find_first_not_of('*'), pattern.size());
            std::string_view rest = pattern.substr(stars);
            const bool crosses = stars > 1 && atFolder && (rest.empty() || rest.front() == '/');
            if (crosses && !rest.empty() && matches(rest.substr(1), text, true, steps))
                return true; // no folder at all
            if (rest.empty())
                return crosses || !text.contains('/');
            for (std::size_t at = 0;; ++at) {
                if (matches(rest, text.substr(at), false, steps))
                    return true;
                if (at == text.size() || steps < 0 || (text[at] == '/' && !crosses))
                    return false;
            }
        }
        if (text.empty())
            return false;
        const char c = text.front();
        if (sign == '?') {
            if (c == '/')
                return false;
            pattern.remove_prefix(1);
        } else if (sign == '[') {
            if (!takeSet(pattern, static_cast<unsigned char>(c)))
                return false;
        } else {
            const bool escaped = sign == '\\' && pattern.size() > 1;
            if (pattern[escaped] != c)
                return false;
            pattern.remove_prefix(1 + std::size_t(escaped));
        }
        atFolder = c == '/';
        text.remove_prefix(1);
    }
    return text.empty();
}

} // namespace

bool matchesWildcard(std::string_view pattern, std::string_view text)
{
    int steps = 100000;
    return matches(pattern, text, true, steps);
}

} // namespace espalier
