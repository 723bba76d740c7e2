// SPDX-License-Identifier: MIT
#include "core/tree/entry.h"

#include <algorithm>
#include <cstring>

namespace espalier {

namespace {

FileMode modeFrom(std::uint32_t mode)
{
    switch (mode & 0170000) {
    case 0040000:
        return FileMode::Tree;
    case 0120000:
        return FileMode::Symlink;
    case 0160000:
        return FileMode::Submodule;
    default:
        return mode & 0100 ? FileMode::Executable : FileMode::File;
    }
}

} // namespace

void TreeCursor::parse()
{
    if (m_begin == m_end)
        return;
    const char* at = m_begin;
    std::uint32_t mode = 0;
    while (at < m_end && *at >= '0' && *at <= '7' && at - m_begin < 7)
        mode = mode * 8 + std::uint32_t(*at++ - '0');
    const char* const name = at + 1;
    const char* const zero = at > m_begin && name < m_end && *at == ' '
                                 ? static_cast<const char*>(std::memchr(name, 0, std::size_t(m_end - name)))
                                 : nullptr;
    if (!zero || zero == name || m_end - zero < 21) {
        m_damaged = true;
        m_begin = m_end;
        return;
    }
    m_entry.name = {name, std::size_t(zero - name)};
    m_entry.mode = modeFrom(mode);
    std::memcpy(m_entry.id.bytes.data(), zero + 1, 20);
    m_next = zero + 21;
}

bool TreeCursor::find(std::string_view name)
{
    // Only the names are looked at on the way; no entry has an empty one.
    while (!atEnd() && !name.empty()) {
        if (m_entry.name == name)
            return true;
        const char* const next = m_next;
        const auto left = std::size_t(m_end - next);
        const auto* const blank = left > 8 ? static_cast<const char*>(std::memchr(next, ' ', 8)) : nullptr;
        const auto* const zero =
            blank ? static_cast<const char*>(std::memchr(blank, 0, std::size_t(m_end - blank))) : nullptr;
        m_begin = next;
        if (!zero || m_end - zero < 21 || std::string_view(blank + 1, zero) == name) {
            parse(); // the end, damage, or the one looked for
            continue;
        }
        m_next = zero + 21;
        m_entry.name = {};
    }
    return false;
}

bool TreeCursor::seek(std::string_view name, bool isTree)
{
    for (; !atEnd(); next())
        if (const int order = compareTreeNames(m_entry.name, m_entry.isTree(), name, isTree); order >= 0)
            return order == 0;
    return false;
}

void TreeCursor::skipEqual(TreeCursor& a, TreeCursor& b)
{
    const std::size_t left = std::min(std::size_t(a.m_end - a.m_begin), std::size_t(b.m_end - b.m_begin));
    std::size_t same = 0;
    for (std::uint64_t x, y; same + 8 <= left; same += 8) {
        std::memcpy(&x, a.m_begin + same, 8);
        std::memcpy(&y, b.m_begin + same, 8);
        if (x != y)
            break;
    }
    while (same < left && a.m_begin[same] == b.m_begin[same])
        ++same;
    const char* const end = a.m_begin + same;
    const char* at = a.m_begin;
    // An entry ends 20 bytes behind the first zero in it.
    while (at < end) {
        const char* const zero = static_cast<const char*>(std::memchr(at, 0, std::size_t(end - at)));
        if (!zero || end - zero < 21)
            break;
        at = zero + 21;
    }
    if (at == a.m_begin)
        return;
    b.m_begin += at - a.m_begin;
    a.m_begin = at;
    a.parse();
    b.parse();
}

Result<std::vector<TreeEntry>> parseTree(std::string_view bytes)
{
    std::vector<TreeEntry> entries;
    entries.reserve(bytes.size() / 36);
    TreeCursor at(bytes);
    for (; !at.atEnd(); at.next())
        entries.push_back(at.entry());
    if (at.damaged())
        return fail(ErrorKind::Broken, "A tree object is damaged", {}, "Run git fsck in the repository");
    return entries;
}

Result<Object> openTree(ObjectStore& store, const Oid& id)
{
    static const Object none{ObjectType::Tree, std::make_shared<const std::string>()};
    static const Oid emptyTree = *Oid::parse(emptyTreeHex);
    if (id.isZero() || id == emptyTree)
        return none;
    return store.read(id, ObjectType::Tree);
}

std::unexpected<Error> damagedTree(const Oid& id)
{
    return fail(ErrorKind::Broken, "A tree object is damaged", id.hex(), "Run git fsck in the repository");
}

std::unexpected<Error> nestedTooDeeply(std::string_view path)
{
    return fail(ErrorKind::Unsupported, "The folders of a tree are nested too deeply", std::string(path.substr(0, 200)),
                "No checkout makes such folders; look at the commit with git ls-tree");
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

void appendEntry(std::string& bytes, const TreeEntry& entry)
{
    switch (entry.mode) {
    case FileMode::Tree:
        bytes += "40000 ";
        break;
    case FileMode::Executable:
        bytes += "100755 ";
        break;
    case FileMode::Symlink:
        bytes += "120000 ";
        break;
    case FileMode::Submodule:
        bytes += "160000 ";
        break;
    default:
        bytes += "100644 ";
        break;
    }
    bytes += entry.name;
    bytes += '\0';
    bytes.append(reinterpret_cast<const char*>(entry.id.bytes.data()), 20);
}

std::string formatTree(const std::vector<TreeEntry>& entries)
{
    std::string bytes;
    bytes.reserve(entries.size() * 40);
    for (const TreeEntry& entry : entries)
        appendEntry(bytes, entry);
    return bytes;
}

} // namespace espalier
