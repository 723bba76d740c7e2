// SPDX-License-Identifier: MIT
#include "core/git/unpack.h"

#include <cstring>

namespace espalier {

std::uint64_t deltaSize(std::string_view delta, std::size_t& at)
{
    std::uint64_t value = 0;
    for (int shift = 0; at < delta.size() && shift < 60; shift += 7) {
        const auto byte = static_cast<unsigned char>(delta[at++]);
        value |= std::uint64_t(byte & 0x7F) << shift;
        if ((byte & 0x80) == 0)
            break;
    }
    return value;
}

std::shared_ptr<const std::string> applyDelta(std::string_view base, std::string_view delta)
{
    std::size_t at = 0;
    const std::uint64_t baseSize = deltaSize(delta, at), size = deltaSize(delta, at);
    if (baseSize != base.size() || size > largestUnpacked)
        return nullptr;
    auto result = std::make_shared<std::string>();
    bool sane = true;
    result->resize_and_overwrite(size, [&](char* out, std::size_t) {
        std::size_t done = 0;
        while (at < delta.size()) {
            const auto code = static_cast<unsigned char>(delta[at++]);
            std::size_t from = 0, length = code;
            std::string_view source = delta;
            if (code & 0x80) {
                length = 0;
                for (int i = 0; i < 7; ++i) {
                    if ((code & (1 << i)) == 0)
                        continue;
                    if (at >= delta.size())
                        return sane = false, std::size_t(0);
                    const std::size_t byte = static_cast<unsigned char>(delta[at++]);
                    (i < 4 ? from : length) |= byte << (i < 4 ? 8 * i : 8 * (i - 4));
                }
                if (length == 0)
                    length = 0x10000;
                source = base;
            } else {
                from = at;
                at += length;
            }
            if (length == 0 || from > source.size() || length > source.size() - from || length > size - done)
                return sane = false, std::size_t(0);
            std::memcpy(out + done, source.data() + from, length);
            done += length;
        }
        sane = done == size;
        return done;
    });
    return sane ? std::move(result) : nullptr;
}

} // namespace espalier
