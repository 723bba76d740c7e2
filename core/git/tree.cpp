// SPDX-License-Identifier: MIT
#include "core/git/tree.h"

#include <algorithm>
#include <cstring>

namespace espalier {

namespace {

FileMode modeFrom(std::uint32_t mode)
{
    switch (mode & 0170000) {
    case 0040000: return FileMode::Tree;
    case 0120000: return FileMode::Symlink;
    case 0160000: return FileMode::Submodule;
    default: return mode & 0100 ? FileMode::Executable : FileMode::File;
    }
}

} // namespace

Result<std::vector<TreeEntry>> parseTree(std::string_view bytes)
{
    const auto damaged = [] {
        return fail(ErrorKind::Broken, "A tree object is damaged", {}, "Run git fsck in the repository");
    };
    std::vector<TreeEntry> entries;
    entries.reserve(bytes.size() / 36);
    const char* at = bytes.data();
    const char* const end = at + bytes.size();
    while (at < end) {
        std::uint32_t mode = 0;
        const char* const digits = at;
        while (at < end && *at >= '0' && *at <= '7' && at - digits < 7)
            mode = mode * 8 + std::uint32_t(*at++ - '0');
        if (at == digits || at >= end || *at != ' ')
            return damaged();
        ++at;
        const char* const zero = static_cast<const char*>(std::memchr(at, 0, std::size_t(end - at)));
        if (!zero || zero == at || end - zero < 21)
            return damaged();
        entries.push_back({{at, std::size_t(zero - at)}, modeFrom(mode), Oid::fromRaw(zero + 1)});
        at = zero + 21;
    }
    return entries;
}

int compareTreeNames(std::string_view a, bool aIsTree, std::string_view b, bool bIsTree)
{
    const std::size_t shared = std::min(a.size(), b.size());
    if (const int order = std::memcmp(a.data(), b.data(), shared); order != 0)
        return order;
    const auto next = [shared](std::string_view name, bool isTree) {
        return name.size() > shared ? static_cast<unsigned char>(name[shared]) : isTree ? int('/') : 0;
    };
    return next(a, aIsTree) - next(b, bIsTree);
}

std::string formatTree(const std::vector<TreeEntry>& entries)
{
    std::string bytes;
    bytes.reserve(entries.size() * 40);
    for (const TreeEntry& entry : entries) {
        switch (entry.mode) {
        case FileMode::Tree: bytes += "40000 "; break;
        case FileMode::Executable: bytes += "100755 "; break;
        case FileMode::Symlink: bytes += "120000 "; break;
        case FileMode::Submodule: bytes += "160000 "; break;
        default: bytes += "100644 "; break;
        }
        bytes += entry.name;
        bytes += '\0';
        bytes.append(reinterpret_cast<const char*>(entry.id.bytes.data()), 20);
    }
    return bytes;
}

} // namespace espalier
