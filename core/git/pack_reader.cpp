// SPDX-License-Identifier: MIT
#include "core/git/pack_reader.h"

#include "core/git/big_endian.h"
#include "core/git/unpack.h"

#include <algorithm>
#include <array>
#include <cstring>

namespace espalier {

namespace {

constexpr std::size_t largest = largestUnpacked;
constexpr int deepestChain = 4096;

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
    if (!canUnpackTo(entry.packed, entry.size))
        return std::nullopt;
    return entry;
}

// What a delta is made from, by where it is: chains share their lower parts.
class Bases {
  public:
    explicit Bases(std::size_t most) : m_most(most) {}

    struct Base {
        const PackFiles::Pack* pack = nullptr;
        std::uint64_t offset = 0;
        int type = 0;
        std::shared_ptr<const std::string> bytes;
    };
    const Base* find(const PackFiles::Pack& pack, std::uint64_t offset) const
    {
        const Base& base = m_slots[slot(offset)];
        return base.pack == &pack && base.offset == offset ? &base : nullptr;
    }
    void keep(const PackFiles::Pack& pack, std::uint64_t offset, int type, std::shared_ptr<const std::string> bytes)
    {
        if (bytes->size() > m_most / 16)
            return;
        Base& base = m_slots[slot(offset)];
        if (base.bytes)
            m_used -= base.bytes->size();
        m_used += bytes->size();
        base = {&pack, offset, type, std::move(bytes)};
        // Beyond the bound whatever comes next in the table goes; what is used often soon comes back.
        for (; m_used > m_most; m_hand = (m_hand + 1) % m_slots.size())
            if (Base& other = m_slots[m_hand]; other.bytes && &other != &base) {
                m_used -= other.bytes->size();
                other = {};
            }
    }

  private:
    static constexpr int slotBits = 13;
    static std::size_t slot(std::uint64_t offset) { return (offset * 0x9E3779B97F4A7C15u) >> (64 - slotBits); }

    std::vector<Base> m_slots = std::vector<Base>(std::size_t(1) << slotBits);
    std::size_t m_most, m_used = 0, m_hand = 0; // bytes; bytes; the slot that goes next
};

} // namespace

struct PackReader::Data {
    explicit Data(std::size_t baseBytes) : bases(baseBytes) {}

    std::shared_ptr<const PackFiles> files;
    Inflater pieces;
    WholeInflater whole;
    Bases bases;
    std::size_t lastPack = 0;
    bool damaged = false, tooLarge = false;
    static constexpr std::uint64_t lettingGo = 2048;
    std::uint64_t objectsRead = 0;
    std::string piece, delta;
    std::shared_ptr<const std::string> result; // keeps what view() has given out

    struct Place {
        const PackFiles::Pack* pack;
        std::uint64_t offset;
    };
    struct Loose {
        MappedFile file;
        ObjectType type;
        std::size_t size;
        std::string begun; // the bytes that came with the header
    };
    // Calls `each` with the places that the id has in packs until it returns true.
    template <typename Each> bool places(const Oid& id, Each each);
    // `keep`: the object itself may be the base of what is read next.
    std::optional<Object> readAt(const Place& place, bool keep = true);
    std::optional<Object> whichever(const Oid& id, bool keep);
    std::optional<std::uint64_t> sizeAt(const Place& place);
    std::optional<Loose> openLoose(const Oid& id);
    std::optional<std::string> readLoose(const Loose& loose, std::size_t wanted);
    std::optional<RawObject> beginningOf(const Oid& id, std::size_t limit);
};

PackReader::PackReader(std::shared_ptr<const PackFiles> packs, std::size_t baseBytes)
    : m_data(std::make_unique<Data>(baseBytes))
{
    m_data->files = std::move(packs);
}
PackReader::~PackReader() = default;

template <typename Each> bool PackReader::Data::places(const Oid& id, Each each)
{
    const auto& packs = files->packs();
    const std::size_t first = lastPack;
    for (std::size_t tried = 0; tried < packs.size(); ++tried) {
        const std::size_t at = first + tried < packs.size() ? first + tried : first + tried - packs.size();
        if (const auto offset = findInPack(*packs[at], id)) {
            lastPack = at;
            if (each(Place{packs[at].get(), *offset}))
                return true;
        }
    }
    return false;
}

std::optional<Object> PackReader::Data::readAt(const Place& place, bool keep)
{
    // Whoever reads a hundred thousand objects has soon touched all of a pack; it need not stay in this process's memory.
    if (++objectsRead % lettingGo == 0)
        for (const auto& each : files->packs())
            each->pack.letGo();
    struct Step {
        std::uint64_t offset, size;
        std::string_view packed;
    };
    const PackFiles::Pack& pack = *place.pack;
    std::vector<Step> deltas;
    std::uint64_t offset = place.offset;
    int type = 0;
    std::shared_ptr<const std::string> bytes;
    while (!bytes) {
        if (const Bases::Base* const known = bases.find(pack, offset)) {
            type = known->type;
            bytes = known->bytes;
            break;
        }
        const auto entry = entryAt(pack, offset);
        tooLarge |= entry && entry->size > largest;
        if (!entry || entry->size > largest || deltas.size() > deepestChain)
            return std::nullopt;
        if (entry->type == offsetDelta || entry->type == idDelta) {
            deltas.push_back({offset, entry->size, entry->packed});
            const auto base =
                entry->type == offsetDelta ? std::optional(entry->baseOffset) : findInPack(pack, entry->baseId);
            if (!base)
                return std::nullopt;
            offset = *base;
            continue;
        }
        type = entry->type;
        bytes = whole.run(entry->packed, entry->size);
        if (!bytes)
            return std::nullopt;
        if (keep || !deltas.empty())
            bases.keep(pack, offset, type, bytes);
    }
    while (!deltas.empty()) {
        const Step step = deltas.back();
        deltas.pop_back();
        bool ok = false;
        delta.resize_and_overwrite(step.size, [&](char* out, std::size_t size) {
            ok = whole.run(step.packed, out, size);
            return ok ? size : 0;
        });
        if (ok)
            bytes = applyDelta(*bytes, delta);
        if (!ok || !bytes)
            return std::nullopt;
        if (keep || !deltas.empty())
            bases.keep(pack, step.offset, type, bytes);
    }
    return Object{ObjectType(type), std::move(bytes)};
}

std::optional<std::uint64_t> PackReader::Data::sizeAt(const Place& place)
{
    const auto entry = entryAt(*place.pack, place.offset);
    if (!entry || (entry->type != offsetDelta && entry->type != idDelta))
        return entry ? std::optional(entry->size) : std::nullopt;
    std::array<char, 20> head;
    if (!pieces.begin(entry->packed))
        return std::nullopt;
    const std::string_view begun(head.data(),
                                 pieces.upTo(head.data(), std::min<std::size_t>(head.size(), entry->size)));
    std::size_t at = 0;
    deltaSize(begun, at);
    const std::uint64_t size = deltaSize(begun, at);
    return at > 1 ? std::optional(size) : std::nullopt;
}

auto PackReader::Data::openLoose(const Oid& id) -> std::optional<Loose>
{
    const std::string hex = id.hex();
    for (const auto& folder : files->folders()) {
        auto file = MappedFile::open(folder / hex.substr(0, 2) / hex.substr(2));
        if (!file)
            continue;
        std::array<char, 64> head;
        if (!pieces.begin(file->bytes()))
            return std::nullopt;
        const std::size_t got = pieces.upTo(head.data(), head.size());
        const std::string_view begun(head.data(), got);
        const std::size_t zero = begun.find('\0'), blank = begun.find(' ');
        if (zero == std::string_view::npos || blank == std::string_view::npos || blank > zero)
            return std::nullopt;
        const std::string_view name = begun.substr(0, blank);
        std::size_t size = 0;
        for (char c : begun.substr(blank + 1, zero - blank - 1)) {
            if (c < '0' || c > '9' || size > SIZE_MAX / 16)
                return std::nullopt;
            size = size * 10 + std::size_t(c - '0');
        }
        const ObjectType type = name == "commit" ? ObjectType::Commit
                                : name == "tree" ? ObjectType::Tree
                                : name == "tag"  ? ObjectType::Tag
                                                 : ObjectType::Blob;
        const std::string_view rest = begun.substr(zero + 1);
        if (rest.size() > size || !canUnpackTo(file->bytes(), size) || (type == ObjectType::Blob && name != "blob"))
            return std::nullopt;
        return Loose{std::move(*file), type, size, std::string(rest)};
    }
    return std::nullopt;
}

// Right after openLoose(), whose stream it goes on with.
std::optional<std::string> PackReader::Data::readLoose(const Loose& loose, std::size_t wanted)
{
    if (wanted > largest)
        return std::nullopt;
    std::string bytes = loose.begun;
    const std::size_t begun = bytes.size();
    bytes.resize(std::max(wanted, begun));
    if (!pieces.more(bytes.data() + begun, bytes.size() - begun) || (bytes.size() == loose.size && !pieces.ends()))
        return std::nullopt;
    return bytes;
}

// For objects that are not deltas.
std::optional<RawObject> PackReader::Data::beginningOf(const Oid& id, std::size_t limit)
{
    std::optional<RawObject> found;
    places(id, [&](const Place& place) {
        const auto entry = entryAt(*place.pack, place.offset);
        if (!entry || entry->type == offsetDelta || entry->type == idDelta || limit >= entry->size)
            return true;
        piece.resize(limit);
        if (pieces.run(entry->packed, piece.data(), limit))
            found = RawObject{ObjectType(entry->type), piece, false};
        return found.has_value();
    });
    return found;
}

std::optional<RawObject> PackReader::view(const Oid& id, std::size_t limit)
{
    if (limit != SIZE_MAX)
        if (auto beginning = m_data->beginningOf(id, limit))
            return beginning;
    std::optional<RawObject> found;
    const bool packed = m_data->places(id, [&](const Data::Place& place) {
        auto object = m_data->readAt(place);
        if (!object)
            return false;
        m_data->result = std::move(object->bytes);
        found = RawObject{object->type, *m_data->result, true};
        return true;
    });
    if (packed)
        return found;
    if (const auto loose = m_data->openLoose(id))
        if (auto bytes = m_data->readLoose(*loose, std::min(limit, loose->size))) {
            m_data->piece = std::move(*bytes);
            return RawObject{loose->type, m_data->piece, m_data->piece.size() == loose->size};
        }
    return std::nullopt;
}

std::optional<Object> PackReader::Data::whichever(const Oid& id, bool keep)
{
    std::optional<Object> found;
    if (places(id, [&](const Place& place) {
            found = readAt(place, keep);
            return found.has_value();
        }))
        return found;
    if (const auto loose = openLoose(id))
        if (auto bytes = readLoose(*loose, loose->size))
            found = Object{loose->type, std::make_shared<const std::string>(std::move(*bytes))};
    return found;
}

std::optional<Object> PackReader::readUnchecked(const Oid& id) { return m_data->whichever(id, true); }
std::optional<Object> PackReader::readOnce(const Oid& id) { return m_data->whichever(id, false); }

std::optional<Object> PackReader::readChecked(const Oid& id)
{
    m_data->damaged = m_data->tooLarge = false;
    std::optional<Object> found;
    const auto isIt = [&] {
        if (found && quickHash(found->type, found->view()) == id)
            return true;
        found.reset();
        m_data->damaged = true;
        return false;
    };
    if (m_data->places(id, [&](const Data::Place& place) {
            found = m_data->readAt(place);
            return isIt();
        }))
        return found;
    if (const auto loose = m_data->openLoose(id)) {
        m_data->tooLarge |= loose->size > largest;
        if (auto bytes = m_data->readLoose(*loose, loose->size))
            found = Object{loose->type, std::make_shared<const std::string>(std::move(*bytes))};
        isIt();
    }
    return found;
}

std::optional<std::uint64_t> PackReader::size(const Oid& id)
{
    m_data->damaged = m_data->tooLarge = false;
    std::optional<std::uint64_t> found;
    if (m_data->places(id, [&](const Data::Place& place) {
            found = m_data->sizeAt(place);
            m_data->damaged |= !found;
            return found.has_value();
        }))
        return found;
    if (const auto loose = m_data->openLoose(id))
        return loose->size;
    return std::nullopt;
}

bool PackReader::foundDamaged() const { return m_data->damaged && !m_data->tooLarge; }

bool PackReader::contains(const Oid& id)
{
    return m_data->places(id, [](const Data::Place&) { return true; }) || m_data->openLoose(id);
}

} // namespace espalier
