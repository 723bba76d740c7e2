// SPDX-License-Identifier: MIT
#include "core/conflicts/file_kind.h"

#include <algorithm>
#include <cstdint>

namespace espalier {

namespace {

using namespace std::string_view_literals;

struct Beginning {
    std::size_t at;
    std::string_view bytes;
    FileKind kind;
};

constexpr Beginning beginnings[] = {
    {0, "\x89PNG\r\n\x1A\n"sv, {"a PNG image", true}},
    {0, "\xFF\xD8\xFF"sv, {"a JPEG image", true}},
    {0, "GIF87a"sv, {"a GIF image", true}},
    {0, "GIF89a"sv, {"a GIF image", true}},
    {8, "WEBP"sv, {"a WebP image", true}},
    {0, "BM"sv, {"a bitmap image", true}},
    {0, "\0\0\1\0"sv, {"an icon", true}},
    {0, "II*\0"sv, {"a TIFF image", true}},
    {0, "MM\0*"sv, {"a TIFF image", true}},
    {0, "%PDF-"sv, {"a PDF document"}},
    {0, "PK\3\4"sv, {"a ZIP archive"}},
    {0, "\x1F\x8B"sv, {"a gzip file"}},
    {0,
     "\xFD"
     "7zXZ\0"sv,
     {"an xz file"}},
    {0, "BZh"sv, {"a bzip2 file"}},
    {0, "\x28\xB5\x2F\xFD"sv, {"a zstd file"}},
    {257, "ustar"sv, {"a tar archive"}},
    {0,
     "\x7F"
     "ELF"sv,
     {"an ELF program or library"}},
    {0, "MZ"sv, {"a PE program or library"}},
    {0, "\0asm"sv, {"a WebAssembly module"}},
    {0, "SQLite format 3\0"sv, {"an SQLite database"}},
    {0, "OggS"sv, {"an Ogg file"}},
    {0, "fLaC"sv, {"a FLAC sound"}},
    {8, "WAVE"sv, {"a WAVE sound"}},
    {0, "\0\1\0\0"sv, {"a TrueType font"}},
    {0, "OTTO"sv, {"an OpenType font"}},
    {0, "wOFF"sv, {"a WOFF font"}},
    {0, "wOF2"sv, {"a WOFF2 font"}},
};

void addUtf8(std::string& text, std::uint32_t c)
{
    if (c < 0x80) {
        text += char(c);
        return;
    }
    const int more = c < 0x800 ? 1 : c < 0x10000 ? 2 : 3;
    constexpr unsigned char lead[] = {0, 0xC0, 0xE0, 0xF0};
    text += char(lead[more] | c >> (6 * more));
    for (int i = more - 1; i >= 0; --i)
        text += char(0x80 | (c >> (6 * i) & 0x3F));
}

} // namespace

FileKind fileKind(std::string_view bytes)
{
    for (const Beginning& known : beginnings)
        // Two or three letters may as well begin a text.
        if (bytes.size() >= known.at && (known.bytes.size() > 3 || std::ranges::contains(bytes, '\0')) &&
            bytes.substr(known.at).starts_with(known.bytes))
            return known.kind;
    return {};
}

std::optional<std::string> textOfUtf16(std::string_view bytes)
{
    const bool little = bytes.starts_with("\xFF\xFE"), big = bytes.starts_with("\xFE\xFF");
    if ((!little && !big) || bytes.size() % 2 != 0)
        return std::nullopt;
    const auto unit = [&](std::size_t at) {
        const auto first = static_cast<unsigned char>(bytes[at]), second = static_cast<unsigned char>(bytes[at + 1]);
        return std::uint32_t(little ? second << 8 | first : first << 8 | second);
    };
    std::string text;
    for (std::size_t at = 2; at < bytes.size(); at += 2) {
        std::uint32_t c = unit(at);
        if (c >= 0xDC00 && c < 0xE000)
            return std::nullopt;
        if (c >= 0xD800 && c < 0xDC00) {
            const std::uint32_t low = at + 2 < bytes.size() ? unit(at + 2) : 0;
            if (low < 0xDC00 || low >= 0xE000)
                return std::nullopt;
            c = 0x10000 + ((c - 0xD800) << 10) + (low - 0xDC00);
            at += 2;
        }
        addUtf8(text, c);
    }
    return text;
}

} // namespace espalier
