// SPDX-License-Identifier: MIT
#include "core/tree/names.h"

#include "core/git/text.h"

#include <algorithm>
#include <string>

namespace espalier {

namespace {

std::string lowered(std::string_view text)
{
    std::string lower(text);
    for (char& c : lower)
        if (c >= 'A' && c <= 'Z')
            c = char(c - 'A' + 'a');
    return lower;
}

// As HFS+ reads a name: without U+200C to U+200F, U+202A to U+202E, U+206A to U+206F and U+FEFF, and for git up to the first
// bytes that are no UTF-8 (utf8.c, next_hfs_char).
std::string asHfs(std::string_view name)
{
    std::string kept;
    while (!name.empty()) {
        std::size_t length = 1;
        while (length <= 4 && !isUtf8(name.substr(0, length)))
            ++length;
        const std::string_view sign = name.substr(0, length);
        if (length > 4 || sign == "\xef\xbf\xbe" || sign == "\xef\xbf\xbf")
            break;
        const bool ignorable = (sign >= "\xe2\x80\x8c" && sign <= "\xe2\x80\x8f") ||
                               (sign >= "\xe2\x80\xaa" && sign <= "\xe2\x80\xae") ||
                               (sign >= "\xe2\x81\xaa" && sign <= "\xe2\x81\xaf") || sign == "\xef\xbb\xbf";
        if (!ignorable)
            kept += sign;
        name.remove_prefix(std::min(length, name.size()));
    }
    return kept;
}

// NTFS: blanks and dots at the end do not count, a colon begins the name of a stream, and there are short names.
bool isNtfsGit(std::string_view lower)
{
    for (const std::string_view git : {std::string_view(".git"), std::string_view("git~1")}) {
        if (!lower.starts_with(git))
            continue;
        const std::size_t end = lower.find_first_not_of(" .", git.size());
        if (end == std::string_view::npos || lower[end] == ':')
            return true;
    }
    return false;
}

} // namespace

bool isSafeName(std::string_view name)
{
    if (name.empty() || name == "." || name == ".." || name.contains('/') || name.contains('\0'))
        return false;
    std::string lower = lowered(name);
    if (asHfs(lower) == ".git")
        return false;
    // There a backslash is a slash.
    for (std::string_view rest = lower; !rest.empty();) {
        const std::size_t end = std::min(rest.find('\\'), rest.size());
        if (isNtfsGit(rest.substr(0, end)))
            return false;
        rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    return true;
}

bool isSafePath(std::string_view path)
{
    for (;;) {
        const std::size_t slash = path.find('/');
        if (!isSafeName(path.substr(0, slash)))
            return false;
        if (slash == std::string_view::npos)
            return true;
        path.remove_prefix(slash + 1);
    }
}

} // namespace espalier
