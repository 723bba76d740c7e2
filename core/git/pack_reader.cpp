// SPDX-License-Identifier: MIT
#include "core/git/pack_reader.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <fstream>

#include <zlib.h>

namespace espalier {

namespace {

constexpr std::size_t largest = std::size_t(64) << 20;
constexpr std::size_t indexHeader = 8, fanoutSize = 1024, trailer = 40;
constexpr int deepestChain = 4096;

std::uint32_t word(const char* p)
{
    const auto at = [&](int i) { return std::uint32_t(static_cast<unsigned char>(p[i])); };
    return at(0) << 24 | at(1) << 16 | at(2) << 8 | at(3);
}

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

std::optional<std::uint64_t> findInPack(const PackFiles::Pack& pack, const Oid& id)
{
    const std::string_view index = pack.index.bytes();
    const char* fanout = index.data() + indexHeader;
    const char* ids = fanout + fanoutSize;
    std::uint32_t low = id.bytes[0] == 0 ? 0 : word(fanout + 4 * (id.bytes[0] - 1));
    std::uint32_t high = word(fanout + 4 * id.bytes[0]);
    while (low < high) {
        const std::uint32_t middle = low + (high - low) / 2;
        const int order = std::memcmp(ids + std::size_t(middle) * 20, id.bytes.data(), 20);
        if (order == 0) {
            const char* offsets = ids + std::size_t(pack.count) * 24;
            const std::uint32_t offset = word(offsets + std::size_t(middle) * 4);
            if ((offset & 0x80000000) == 0)
                return offset;
            const std::size_t wide =
                std::size_t(offsets - index.data()) + std::size_t(pack.count) * 4 + std::size_t(offset & 0x7FFFFFFF) * 8;
            if (wide + 8 + trailer > index.size())
                return std::nullopt;
            return std::uint64_t(word(&index[wide])) << 32 | word(&index[wide + 4]);
        }
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return std::nullopt;
}

struct Entry {
    int type = 0;
    std::uint64_t size = 0;
    std::uint64_t baseOffset = 0; // of a delta to an offset
    Oid baseId;                   // of a delta to an id
    std::string_view packed;      // from the compressed bytes to the pack's end
};
constexpr int offsetDelta = 6, idDelta = 7;

std::optional<Entry> entryAt(const PackFiles::Pack& pack, std::uint64_t offset)
{
    std::string_view bytes = pack.pack.bytes();
    if (offset < 12 || offset >= bytes.size() - 20)
        return std::nullopt;
    bytes = bytes.substr(offset, bytes.size() - 20 - offset);
    std::size_t at = 0;
    const auto next = [&]() -> int { return at < bytes.size() ? static_cast<unsigned char>(bytes[at++]) : -1; };
    Entry entry;
    int byte = next();
    entry.type = byte >> 4 & 7;
    entry.size = std::uint64_t(byte & 15);
    for (int shift = 4; byte >= 0 && (byte & 0x80) && shift < 60; shift += 7) {
        byte = next();
        entry.size |= std::uint64_t(byte & 0x7F) << shift;
    }
    if (byte < 0)
        return std::nullopt;
    if (entry.type == offsetDelta) {
        byte = next();
        std::uint64_t back = std::uint64_t(byte & 0x7F);
        while (byte >= 0 && (byte & 0x80)) {
            byte = next();
            back = (back + 1) << 7 | std::uint64_t(byte & 0x7F);
        }
        if (byte < 0 || back == 0 || back >= offset)
            return std::nullopt;
        entry.baseOffset = offset - back;
    } else if (entry.type == idDelta) {
        if (bytes.size() < at + 20)
            return std::nullopt;
        entry.baseId = Oid::fromRaw(&bytes[at]);
        at += 20;
    } else if (entry.type < 1 || entry.type > 4) {
        return std::nullopt;
    }
    entry.packed = bytes.substr(at);
    return entry;
}

// Applies a delta (copy and insert instructions over the base); false when it does not make sense.
bool applyDelta(std::string_view base, std::string_view delta, std::string& result)
{
    std::size_t at = 0;
    const auto number = [&] {
        std::uint64_t value = 0;
        for (int shift = 0; at < delta.size() && shift < 60; shift += 7) {
            const auto byte = static_cast<unsigned char>(delta[at++]);
            value |= std::uint64_t(byte & 0x7F) << shift;
            if ((byte & 0x80) == 0)
                break;
        }
        return value;
    };
    const std::uint64_t baseSize = number(), size = number();
    if (baseSize != base.size() || size > largest)
        return false;
    result.clear();
    result.reserve(size);
    while (at < delta.size()) {
        const auto code = static_cast<unsigned char>(delta[at++]);
        if ((code & 0x80) == 0) {
            if (code == 0 || code > delta.size() - at || result.size() + code > size)
                return false;
            result.append(delta.substr(at, code));
            at += code;
            continue;
        }
        std::uint32_t from = 0, length = 0;
        for (int i = 0; i < 7; ++i) {
            if ((code & (1 << i)) == 0)
                continue;
            if (at >= delta.size())
                return false;
            const std::uint32_t byte = static_cast<unsigned char>(delta[at++]);
            (i < 4 ? from : length) |= byte << (i < 4 ? 8 * i : 8 * (i - 4));
        }
        if (length == 0)
            length = 0x10000;
        if (from > base.size() || length > base.size() - from || result.size() + length > size)
            return false;
        result.append(base.substr(from, length));
    }
    return result.size() == size;
}

// One zlib stream used over and over: setting one up costs more than a small object.
class Inflater {
  public:
    Inflater() { m_ok = inflateInit(&m_stream) == Z_OK; }
    ~Inflater() { inflateEnd(&m_stream); }
    Inflater(const Inflater&) = delete;
    Inflater& operator=(const Inflater&) = delete;

    // Fills `out` (its size says how many bytes) from a stream that has at least as many.
    bool run(std::string_view packed, char* out, std::size_t size)
    {
        return begin(packed) && more(out, size);
    }
    bool begin(std::string_view packed)
    {
        m_stream.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(packed.data()));
        m_left = packed.size();
        m_stream.avail_in = 0;
        return m_ok && inflateReset(&m_stream) == Z_OK;
    }
    bool more(char* out, std::size_t size) { return upTo(out, size) == size; }
    // As many bytes as there are, at most `size`.
    std::size_t upTo(char* out, std::size_t size)
    {
        m_stream.next_out = reinterpret_cast<Bytef*>(out);
        m_stream.avail_out = uInt(size);
        while (m_stream.avail_out > 0) {
            if (m_stream.avail_in == 0) {
                m_stream.avail_in = uInt(std::min<std::size_t>(m_left, std::size_t(1) << 30));
                m_left -= m_stream.avail_in;
            }
            if (inflate(&m_stream, Z_SYNC_FLUSH) != Z_OK)
                break;
        }
        return size - m_stream.avail_out;
    }

  private:
    z_stream m_stream{};
    std::size_t m_left = 0;
    bool m_ok = false;
};

} // namespace

std::vector<std::filesystem::path> objectFolders(const std::filesystem::path& commonDir)
{
    std::vector<std::filesystem::path> folders;
    addFolder(folders, commonDir / "objects", 0);
    return folders;
}

std::shared_ptr<const PackFiles> PackFiles::open(std::vector<std::filesystem::path> folders)
{
    auto files = std::make_shared<PackFiles>();
    for (const auto& folder : folders) {
        std::error_code error;
        for (std::filesystem::directory_iterator at(folder / "pack", error), end; !error && at != end;
             at.increment(error))
            if (at->path().extension() == ".idx")
                if (auto pack = openPack(at->path()))
                    files->m_packs.push_back(std::move(*pack));
    }
    // The largest first: most objects are there.
    std::ranges::sort(files->m_packs, std::greater<>(), &Pack::count);
    files->m_folders = std::move(folders);
    return files;
}

struct PackReader::Data {
    std::shared_ptr<const PackFiles> files;
    Inflater inflater;
    std::size_t lastPack = 0;
    std::string result;
    // Bases of deltas that were made before, by where they are: chains share them.
    struct Base {
        const PackFiles::Pack* pack = nullptr;
        std::uint64_t offset = 0;
        int type = 0;
        std::string bytes;
    };
    std::vector<Base> bases = std::vector<Base>(1024);

    std::optional<RawObject> readAt(const PackFiles::Pack& pack, std::uint64_t offset, std::size_t limit);
    std::optional<RawObject> readLoose(const Oid& id, std::size_t limit);
};

PackReader::PackReader(std::shared_ptr<const PackFiles> packs) : m_data(std::make_unique<Data>())
{
    m_data->files = std::move(packs);
}
PackReader::~PackReader() = default;

std::optional<RawObject> PackReader::Data::readAt(const PackFiles::Pack& pack, std::uint64_t offset, std::size_t limit)
{
    struct Step {
        std::uint64_t offset;
        Entry entry;
    };
    std::vector<Step> deltas;
    int type = 0;
    const auto slot = [&](std::uint64_t of) -> Base& { return bases[(of * 0x9E3779B97F4A7C15u)  >> 54]; };
    for (;;) {
        if (Base& known = slot(offset); known.pack == &pack && known.offset == offset) {
            type = known.type;
            result = known.bytes;
            break;
        }
        const auto entry = entryAt(pack, offset);
        if (!entry || entry->size > largest || deltas.size() > deepestChain)
            return std::nullopt;
        if (entry->type != offsetDelta && entry->type != idDelta) {
            const bool part = deltas.empty() && limit < entry->size;
            result.resize(part ? limit : entry->size);
            if (!inflater.run(entry->packed, result.data(), result.size()))
                return std::nullopt;
            if (deltas.empty())
                return RawObject{ObjectType(entry->type), result, !part};
            type = entry->type;
            break;
        }
        deltas.push_back({offset, *entry});
        if (entry->type == offsetDelta) {
            offset = entry->baseOffset;
        } else if (const auto base = findInPack(pack, entry->baseId)) {
            offset = *base;
        } else {
            return std::nullopt;
        }
    }
    const bool chained = !deltas.empty();
    std::string delta, made;
    while (!deltas.empty()) {
        if (result.size() <= 0x10000) {
            Base& keep = slot(offset);
            keep = {&pack, offset, type, result};
        }
        const Step step = deltas.back();
        deltas.pop_back();
        delta.resize(step.entry.size);
        if (!inflater.run(step.entry.packed, delta.data(), delta.size()) || !applyDelta(result, delta, made))
            return std::nullopt;
        std::swap(result, made);
        offset = step.offset;
    }
    // The next one asked for is often a delta to this one.
    if (chained && result.size() <= 0x10000)
        slot(offset) = {&pack, offset, type, result};
    return RawObject{ObjectType(type), result, true};
}

std::optional<RawObject> PackReader::Data::readLoose(const Oid& id, std::size_t limit)
{
    const std::string hex = id.hex();
    for (const auto& folder : files->folders()) {
        const auto file = MappedFile::open(folder / hex.substr(0, 2) / hex.substr(2));
        if (!file)
            continue;
        std::array<char, 64> head;
        if (!inflater.begin(file->bytes()))
            return std::nullopt;
        const std::size_t got = inflater.upTo(head.data(), head.size());
        const std::string_view begun(head.data(), got);
        const std::size_t zero = begun.find('\0'), blank = begun.find(' ');
        if (zero == std::string_view::npos || blank == std::string_view::npos || blank > zero)
            return std::nullopt;
        const std::string_view name = begun.substr(0, blank);
        std::size_t size = 0;
        for (char c : begun.substr(blank + 1, zero - blank - 1)) {
            if (c < '0' || c > '9' || size > largest)
                return std::nullopt;
            size = size * 10 + std::size_t(c - '0');
        }
        const ObjectType type = name == "commit" ? ObjectType::Commit
                                : name == "tree" ? ObjectType::Tree
                                : name == "tag"  ? ObjectType::Tag
                                                 : ObjectType::Blob;
        const std::string_view rest = begun.substr(zero + 1);
        if (size > largest || rest.size() > size || (type == ObjectType::Blob && name != "blob"))
            return std::nullopt;
        const std::size_t wanted = std::max(std::min(limit, size), rest.size());
        result.assign(rest);
        result.resize(wanted);
        if (!inflater.more(result.data() + rest.size(), wanted - rest.size()))
            return std::nullopt;
        return RawObject{type, result, wanted == size};
    }
    return std::nullopt;
}

std::optional<RawObject> PackReader::read(const Oid& id, std::size_t limit)
{
    const auto& packs = m_data->files->packs();
    for (std::size_t tried = 0; tried < packs.size(); ++tried) {
        const std::size_t at = (m_data->lastPack + tried) % packs.size();
        if (const auto offset = findInPack(packs[at], id)) {
            m_data->lastPack = at;
            if (auto object = m_data->readAt(packs[at], *offset, limit))
                return object;
        }
    }
    return m_data->readLoose(id, limit);
}

} // namespace espalier
