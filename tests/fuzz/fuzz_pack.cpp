// SPDX-License-Identifier: MIT
//
// The pack reader against arbitrary packs: the input is a pack's body, with an index made for it whose offsets the input
// chooses. Whatever it says, a read ends, stays inside the file, and gives nothing or an object.
#include "core/git/pack_reader.h"

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include <unistd.h>

using namespace espalier;

namespace {

void put(std::string& out, std::uint32_t value)
{
    for (int shift = 24; shift >= 0; shift -= 8)
        out += char(value >> shift & 0xFF);
}

const std::filesystem::path& folder()
{
    static const std::filesystem::path path = [] {
        auto made = std::filesystem::temp_directory_path() / ("espalier-fuzz-pack-" + std::to_string(getpid()));
        std::filesystem::create_directories(made / "pack");
        return made;
    }();
    return path;
}

void write(const char* name, const std::string& bytes)
{
    std::ofstream(folder() / "pack" / name, std::ios::binary | std::ios::trunc) << bytes;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    // Four objects, ids 01 00.., 02 00.. and so on: a delta in the input can name them.
    constexpr std::uint32_t count = 4;
    if (size < 2 * count)
        return 0;
    std::string index = "\377tOc";
    put(index, 2);
    for (std::uint32_t byte = 0; byte < 256; ++byte)
        put(index, std::min(byte, count));
    std::vector<Oid> ids;
    for (std::uint32_t i = 0; i < count; ++i) {
        std::string raw(20, '\0');
        raw[0] = char(i + 1);
        ids.push_back(Oid::fromRaw(raw.data()));
        index += raw;
    }
    index.append(4 * count, '\0');
    for (std::uint32_t i = 0; i < count; ++i)
        put(index, 12 + (std::uint32_t(data[2 * i]) | std::uint32_t(data[2 * i + 1] & 0x81)
                                                          << 8 << (data[2 * i + 1] & 0x80 ? 16 : 0)));
    index.append(40, '\0');
    std::string pack("PACK\0\0\0\2\0\0\0\4", 12);
    pack.append(reinterpret_cast<const char*>(data) + 2 * count, size - 2 * count).append(20, '\0');
    write("pack-a.idx", index);
    write("pack-a.pack", pack);

    PackReader reader(PackFiles::open({folder()}));
    for (int round = 0; round < 2; ++round)
        for (const Oid& id : ids)
            for (const std::size_t limit : {std::size_t(16), SIZE_MAX})
                if (const auto object = reader.view(id, limit)) {
                    const int type = int(object->type);
                    if (type < 1 || type > 4 || (limit != SIZE_MAX && !object->whole && object->bytes.size() > limit))
                        std::abort();
                }
    return 0;
}
