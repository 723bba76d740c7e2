// SPDX-License-Identifier: MIT
#include "core/merge/renames.h"

#include "core/merge/text_merge.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>
#include <span>

namespace espalier {

namespace {

constexpr std::size_t mostPrintBytes = std::size_t(64) << 20;

// git's diffcore_count_changes and hash_chars: a text is cut into pieces that end at a line end or after 64 bytes; each
// has a hash, and a print tells how many bytes there are of each hash. A CR before an LF counts for nothing in a text.
constexpr std::size_t longestPiece = 64;

struct PieceHash {
    std::uint32_t first = 0, second = 0;
    void add(char c)
    {
        const std::uint32_t old = first;
        first = ((first << 7) ^ (second >> 25)) + static_cast<unsigned char>(c);
        second = (second << 7) ^ (old >> 25);
    }
    std::uint32_t value() const { return (first + second * 0x61) % pieceHashes; }
};

// Four of them at once.
class FourHashes {
  public:
    void addFourEach(const char* a, const char* b, const char* c, const char* d)
    {
        Words words = {word(a), word(b), word(c), word(d)};
        for (int i = 0; i < 4; ++i, words >>= 8) {
            const Words old = m_first;
            m_first = ((m_first << 7) ^ (m_second >> 25)) + (words & 0xFF);
            m_second = (m_second << 7) ^ (old >> 25);
        }
    }
    PieceHash of(std::size_t lane) const { return {m_first[lane], m_second[lane]}; }

  private:
    typedef std::uint32_t Words __attribute__((vector_size(16)));
    // The first byte lowest.
    static std::uint32_t word(const char* bytes)
    {
        std::uint32_t value = 0;
        std::memcpy(&value, bytes, 4);
        return std::endian::native == std::endian::little ? value : std::byteswap(value);
    }
    Words m_first{}, m_second{};
};

using Chunk = std::pair<std::uint32_t, std::uint32_t>; // hash, bytes

void addSlowly(std::string_view bytes, std::vector<Chunk>& chunks)
{
    PieceHash hash;
    std::uint32_t length = 0;
    for (std::size_t i = 0; i < bytes.size(); ++i) {
        const char c = bytes[i];
        if (c == '\r' && i + 1 < bytes.size() && bytes[i + 1] == '\n')
            continue;
        hash.add(c);
        if (++length == longestPiece || c == '\n') {
            chunks.emplace_back(hash.value(), length);
            hash = {};
            length = 0;
        }
    }
    if (length > 0)
        chunks.emplace_back(hash.value(), length);
}

// Where every byte counts: pieces of about one length are hashed four at a time, since each byte's turn waits for the
// one before it.
void addQuickly(std::string_view bytes, std::vector<Chunk>& chunks)
{
    struct Piece {
        const char* from;
        std::uint32_t length;
    };
    std::vector<Piece> pieces;
    pieces.reserve(bytes.size() / 24 + 8);
    std::array<std::uint32_t, longestPiece + 2> begins{}; // by length, after summing
    for (std::size_t at = 0; at < bytes.size();) {
        const std::size_t most = std::min(bytes.size() - at, longestPiece);
        const void* end = std::memchr(bytes.data() + at, '\n', most);
        const std::size_t length = end ? std::size_t(static_cast<const char*>(end) - bytes.data()) - at + 1 : most;
        pieces.push_back({bytes.data() + at, std::uint32_t(length)});
        ++begins[length + 1];
        at += length;
    }
    for (std::size_t i = 1; i < begins.size(); ++i)
        begins[i] += begins[i - 1];
    std::vector<Piece> byLength(pieces.size());
    for (const Piece& piece : pieces)
        byLength[begins[piece.length]++] = piece;
    std::size_t at = 0;
    for (; at + 4 <= byLength.size(); at += 4) {
        const Piece* four = byLength.data() + at; // the first is the shortest
        FourHashes hash4;
        std::uint32_t together = 0;
        for (; together + 4 <= four[0].length; together += 4)
            hash4.addFourEach(four[0].from + together, four[1].from + together, four[2].from + together,
                              four[3].from + together);
        for (std::size_t lane = 0; lane < 4; ++lane) {
            PieceHash hash = hash4.of(lane);
            for (std::uint32_t i = together; i < four[lane].length; ++i)
                hash.add(four[lane].from[i]);
            chunks.emplace_back(hash.value(), four[lane].length);
        }
    }
    for (const Piece& piece : std::span(byLength).subspan(at)) {
        PieceHash hash;
        for (std::uint32_t i = 0; i < piece.length; ++i)
            hash.add(piece.from[i]);
        chunks.emplace_back(hash.value(), piece.length);
    }
}

// By hash, the bytes of equal ones together.
void sortAndSum(std::vector<Chunk>& chunks)
{
    std::vector<Chunk> other(chunks.size());
    constexpr std::uint32_t digit = 9; // bits; twice makes more than 17
    for (std::uint32_t shift = 0; shift < 2 * digit; shift += digit) {
        std::array<std::uint32_t, (1u << digit) + 1> begins{};
        const auto digitOf = [shift](const Chunk& chunk) { return chunk.first >> shift & ((1u << digit) - 1); };
        for (const Chunk& chunk : chunks)
            ++begins[digitOf(chunk) + 1];
        for (std::size_t i = 1; i < begins.size(); ++i)
            begins[i] += begins[i - 1];
        for (const Chunk& chunk : chunks)
            other[begins[digitOf(chunk)]++] = chunk;
        chunks.swap(other);
    }
    std::size_t count = 0;
    for (const Chunk& chunk : chunks) {
        if (count > 0 && chunks[count - 1].first == chunk.first)
            chunks[count - 1].second += chunk.second;
        else
            chunks[count++] = chunk;
    }
    chunks.resize(count);
    chunks.shrink_to_fit();
}

SimilarityCache::Print printOf(std::string_view bytes)
{
    SimilarityCache::Print print;
    print.size = bytes.size();
    if (!isBinary(bytes) && bytes.contains("\r\n"))
        addSlowly(bytes, print.chunks);
    else
        addQuickly(bytes, print.chunks);
    sortAndSum(print.chunks);
    return print;
}

} // namespace

Result<SimilarityCache::PrintPtr> SimilarityCache::print(ObjectStore& store, const Oid& blob)
{
    {
        const std::scoped_lock lock(m_mutex);
        if (const auto at = m_prints.find(blob); at != m_prints.end())
            return at->second;
    }
    const auto object = store.readOnce(blob, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    auto print = std::make_shared<const Print>(printOf(object->view()));
    const std::scoped_lock lock(m_mutex);
    const auto [at, isNew] = m_prints.try_emplace(blob, std::move(print));
    if (isNew) {
        m_cost += at->second->chunks.size() * 8 + 112;
        for (const auto& [hash, bytes] : at->second->chunks)
            ++m_frequencies[hash];
    }
    return at->second;
}

Result<std::uint64_t> SimilarityCache::size(ObjectStore& store, const Oid& blob)
{
    {
        const std::scoped_lock lock(m_mutex);
        if (const auto at = m_sizes.find(blob); at != m_sizes.end())
            return at->second;
    }
    const auto size = store.size(blob);
    if (size) {
        const std::scoped_lock lock(m_mutex);
        if (m_sizes.emplace(blob, *size).second)
            m_cost += 64;
    }
    return size;
}

std::vector<std::uint32_t> SimilarityCache::frequencies()
{
    const std::scoped_lock lock(m_mutex);
    return m_frequencies;
}

void SimilarityCache::trim()
{
    const std::scoped_lock lock(m_mutex);
    if (m_cost < mostPrintBytes)
        return;
    m_prints.clear();
    m_sizes.clear();
    m_cost = 0;
}

} // namespace espalier
