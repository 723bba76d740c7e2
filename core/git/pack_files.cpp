// SPDX-License-Identifier: MIT
#include "core/git/pack_files.h"

#include "core/git/big_endian.h"
#include "core/git/sorted_ids.h"

#include <algorithm>
#include <array>
#include <fstream>
#include <map>
#include <mutex>

#include <sys/stat.h>

namespace espalier {

namespace {

constexpr std::size_t indexHeader = 8, fanoutSize = 1024, trailer = 40;

void addFolder(std::vector<std::filesystem::path>& folders, const std::filesystem::path& folder, int depth)
{
    std::error_code error;
    const auto canonical = std::filesystem::weakly_canonical(folder, error);
    if (error || std::ranges::find(folders, canonical) != folders.end() || !is_directory(canonical, error))
        return;
    folders.push_back(canonical);
    std::ifstream alternates(canonical / "info/alternates");
    for (std::string line; depth < 5 && std::getline(alternates, line);)
        if (!line.empty() && line[0] != '#')
            addFolder(folders, canonical / line, depth + 1); // an absolute path replaces the left side
}

// An index of version 2 whose tables fit its size.
std::optional<PackFiles::Pack> openPack(const std::filesystem::path& indexPath)
{
    PackFiles::Pack pack;
    auto index = MappedFile::open(indexPath);
    auto packPath = indexPath;
    auto data = MappedFile::open(packPath.replace_extension(".pack"));
    if (!index || !data)
        return std::nullopt;
    const std::string_view bytes = index->bytes();
    if (bytes.size() < indexHeader + fanoutSize + trailer || bytes.substr(0, 4) != "\377tOc" || word(&bytes[4]) != 2 ||
        data->bytes().size() < 12 + 20 || data->bytes().substr(0, 4) != "PACK")
        return std::nullopt;
    for (int i = 0; i < 255; ++i)
        if (word(&bytes[indexHeader + 4 * std::size_t(i)]) > word(&bytes[indexHeader + 4 * std::size_t(i) + 4]))
            return std::nullopt;
    pack.count = word(&bytes[indexHeader + fanoutSize - 4]);
    if (bytes.size() < indexHeader + fanoutSize + std::size_t(pack.count) * 28 + trailer)
        return std::nullopt;
    pack.index = std::move(*index);
    pack.pack = std::move(*data);
    return pack;
}

// Which file it was that was mapped: git may write a pack of the same name anew.
using FileState = std::array<std::uint64_t, 5>;
FileState stateOf(const std::filesystem::path& path)
{
    struct stat found{};
    if (::stat(path.c_str(), &found) != 0)
        return {};
    return {std::uint64_t(found.st_dev), std::uint64_t(found.st_ino), std::uint64_t(found.st_size),
            std::uint64_t(found.st_mtim.tv_sec), std::uint64_t(found.st_mtim.tv_nsec)};
}

// The same, as another has it open already.
std::shared_ptr<const PackFiles::Pack> sharedPack(const std::filesystem::path& indexPath)
{
    static std::mutex mutex;
    static std::map<std::pair<FileState, FileState>, std::weak_ptr<const PackFiles::Pack>> known;
    auto packPath = indexPath;
    const std::pair key{stateOf(indexPath), stateOf(packPath.replace_extension(".pack"))};
    if (key.first == FileState() || key.second == FileState())
        return nullptr;
    const std::scoped_lock locked(mutex);
    if (const auto at = known.find(key); at != known.end())
        if (auto pack = at->second.lock())
            return pack;
    auto opened = openPack(indexPath);
    if (!opened)
        return nullptr;
    std::erase_if(known, [](const auto& each) { return each.second.expired(); });
    auto pack = std::make_shared<const PackFiles::Pack>(std::move(*opened));
    known.insert_or_assign(key, pack);
    return pack;
}

} // namespace

std::vector<std::filesystem::path> objectFolders(const std::filesystem::path& commonDir)
{
    std::vector<std::filesystem::path> folders;
    addFolder(folders, commonDir / "objects", 0);
    return folders;
}

std::uint64_t packFoldersState(const std::vector<std::filesystem::path>& folders)
{
    std::uint64_t state = 0xCBF29CE484222325u; // FNV-1a, as far as it goes
    const auto add = [&state](std::uint64_t value) { state = (state ^ value) * 0x100000001B3u; };
    for (const auto& folder : folders) {
        struct stat found{};
        const bool there = ::stat((folder / "pack").c_str(), &found) == 0;
        add(there ? std::uint64_t(found.st_ino) : 0);
        add(there ? std::uint64_t(found.st_mtim.tv_sec) * 1'000'000'000u + std::uint64_t(found.st_mtim.tv_nsec) : 0);
    }
    return state;
}

std::shared_ptr<const PackFiles> PackFiles::open(std::vector<std::filesystem::path> folders)
{
    auto files = std::make_shared<PackFiles>();
    for (const auto& folder : folders) {
        std::error_code error;
        for (std::filesystem::directory_iterator at(folder / "pack", error), end; !error && at != end;
             at.increment(error))
            if (at->path().extension() == ".idx")
                if (auto pack = sharedPack(at->path()))
                    files->m_packs.push_back(std::move(pack));
    }
    // The largest first: most objects are there.
    std::ranges::sort(files->m_packs, std::greater<>(), [](const auto& pack) { return pack->count; });
    files->m_folders = std::move(folders);
    return files;
}

std::optional<std::uint64_t> findInPack(const PackFiles::Pack& pack, const Oid& id)
{
    const std::string_view index = pack.index.bytes();
    const char* fanout = index.data() + indexHeader;
    const char* ids = fanout + fanoutSize;
    const auto at = findSorted(fanout, ids, id);
    if (!at)
        return std::nullopt;
    const char* offsets = ids + std::size_t(pack.count) * 24;
    const std::uint32_t offset = word(offsets + std::size_t(*at) * 4);
    if ((offset & 0x80000000) == 0)
        return offset;
    const std::size_t wide =
        std::size_t(offsets - index.data()) + std::size_t(pack.count) * 4 + std::size_t(offset & 0x7FFFFFFF) * 8;
    if (wide + 8 + trailer > index.size())
        return std::nullopt;
    return longWord(&index[wide]);
}

} // namespace espalier
