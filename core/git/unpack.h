// SPDX-License-Identifier: MIT
//
// What packs and loose files are made of: compressed bytes (zlib, RFC 1950) and deltas (gitformat-pack(5)). Private to
// core/git.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include <libdeflate.h>
#include <zlib.h>

namespace espalier {

// Nothing larger is made here.
inline constexpr std::size_t largestUnpacked = std::size_t(64) << 20;

// False when no compressed bytes as few as these can give so many: zlib's "Technical Details" bound the ratio by 1032 to 1.
// A damaged size is thereby known before anybody, libgit2 among them, asks for that much memory.
inline bool canUnpackTo(std::string_view packed, std::uint64_t size) { return size / 1032 <= packed.size(); }

// One of the two sizes that a delta begins with (its base's, then its result's); moves `at` behind it.
std::uint64_t deltaSize(std::string_view delta, std::size_t& at);
// Applies a delta (copy and insert instructions over the base); null when it does not make sense.
std::shared_ptr<const std::string> applyDelta(std::string_view base, std::string_view delta);

// One zlib stream used over and over: setting one up costs more than a small object. For pieces of objects, and where the
// end of the compressed bytes is not known to be there.
class Inflater {
  public:
    Inflater() = default;
    ~Inflater()
    {
        if (m_ok)
            inflateEnd(&m_stream);
    }
    Inflater(const Inflater&) = delete;
    Inflater& operator=(const Inflater&) = delete;

    // Fills `out` (its size says how many bytes) from a stream that has at least as many.
    bool run(std::string_view packed, char* out, std::size_t size) { return begin(packed) && more(out, size); }
    bool begin(std::string_view packed)
    {
        if (!m_ok)
            m_ok = inflateInit(&m_stream) == Z_OK;
        m_stream.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(packed.data()));
        m_left = packed.size();
        m_stream.avail_in = 0;
        m_ended = false;
        return m_ok && inflateReset(&m_stream) == Z_OK;
    }
    bool more(char* out, std::size_t size) { return upTo(out, size) == size; }
    // As many bytes as there are, at most `size`.
    std::size_t upTo(char* out, std::size_t size)
    {
        m_stream.next_out = reinterpret_cast<Bytef*>(out);
        m_stream.avail_out = uInt(size);
        while (m_stream.avail_out > 0 && step() == Z_OK) {
        }
        return size - m_stream.avail_out;
    }
    // Nothing follows, and the checksum at the end is right.
    bool ends()
    {
        char none = 0;
        m_stream.next_out = reinterpret_cast<Bytef*>(&none);
        m_stream.avail_out = 1;
        while (!m_ended && m_stream.avail_out > 0 && step() == Z_OK) {
        }
        return m_ended && m_stream.avail_out == 1;
    }

  private:
    int step()
    {
        if (m_stream.avail_in == 0) {
            m_stream.avail_in = uInt(std::min<std::size_t>(m_left, std::size_t(1) << 30));
            m_left -= m_stream.avail_in;
        }
        const int result = inflate(&m_stream, Z_SYNC_FLUSH);
        m_ended |= result == Z_STREAM_END;
        return result;
    }

    z_stream m_stream{};
    std::size_t m_left = 0;
    bool m_ok = false, m_ended = false;
};

// Whole objects, whose size is known.
class WholeInflater {
  public:
    WholeInflater() : m_own(libdeflate_alloc_decompressor()) {}
    ~WholeInflater() { libdeflate_free_decompressor(m_own); }
    WholeInflater(const WholeInflater&) = delete;
    WholeInflater& operator=(const WholeInflater&) = delete;

    // Exactly `size` bytes, whose checksum is right.
    bool run(std::string_view packed, char* out, std::size_t size)
    {
        std::size_t read = 0;
        return m_own && libdeflate_zlib_decompress_ex(m_own, packed.data(), packed.size(), out, size, &read, nullptr) ==
                            LIBDEFLATE_SUCCESS;
    }
    std::shared_ptr<const std::string> run(std::string_view packed, std::size_t size)
    {
        auto bytes = std::make_shared<std::string>();
        bool ok = false;
        bytes->resize_and_overwrite(size, [&](char* out, std::size_t) {
            ok = run(packed, out, size);
            return ok ? size : 0;
        });
        return ok ? std::move(bytes) : nullptr;
    }

  private:
    libdeflate_decompressor* m_own;
};

} // namespace espalier
