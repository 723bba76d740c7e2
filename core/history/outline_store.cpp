// SPDX-License-Identifier: MIT
#include "core/history/outline_store.h"

#include "core/git/files.h"
#include "core/git/overrides.h"
#include "core/git/sha1.h"

#include <algorithm>
#include <cstring>

namespace espalier {

namespace {

constexpr std::string_view head = "espalier outlines 1";
constexpr std::size_t mostKept = 400'000;
constexpr std::size_t recordSize = 28;
constexpr std::size_t mostBytes = mostKept * recordSize + 256;

std::filesystem::path fileOf(const Repository& repository) { return repository.commonDir() / "espalier" / "outlines"; }

std::string checkOf(std::string_view records)
{
    Sha1 sum;
    sum.add(records);
    return sum.finish().hex();
}

// The hash is the library's, which may differ between machines and versions.
std::string headFor(std::string_view records)
{
    return std::string(head) + ' ' + std::to_string(std::hash<std::string_view>()("core/history/outlines")) + ' ' +
           checkOf(records) + '\n';
}

} // namespace

std::vector<KeptOutline> readOutlines(const Repository& repository)
{
    std::vector<KeptOutline> outlines;
    if (!readOverrides(repository).empty())
        return outlines;
    const auto bytes = readFileBounded(fileOf(repository), mostBytes);
    if (!bytes)
        return outlines;
    const std::size_t end = bytes->find('\n');
    if (end == bytes->npos || (bytes->size() - end - 1) % recordSize != 0)
        return outlines;
    std::string_view records = std::string_view(*bytes).substr(end + 1);
    if (std::string_view(*bytes).substr(0, end + 1) != headFor(records))
        return outlines;
    outlines.reserve(records.size() / recordSize);
    for (; !records.empty(); records.remove_prefix(recordSize)) {
        KeptOutline& kept = outlines.emplace_back();
        std::memcpy(kept.commit.bytes.data(), records.data(), 20);
        std::memcpy(&kept.outline, records.data() + 20, 8);
    }
    return outlines;
}

Result<void> keepOutlines(const Repository& repository, std::span<const KeptOutline> outlines)
{
    if (!readOverrides(repository).empty())
        return {};
    std::string records;
    outlines = outlines.first(std::min(outlines.size(), mostKept));
    records.reserve(outlines.size() * recordSize);
    for (const KeptOutline& kept : outlines) {
        records.append(reinterpret_cast<const char*>(kept.commit.bytes.data()), 20);
        records.append(reinterpret_cast<const char*>(&kept.outline), 8);
    }
    const auto file = fileOf(repository);
    return makeFolders(file.parent_path()).and_then([&] {
        return writeFileAtomically(file, headFor(records) + records);
    });
}

} // namespace espalier
