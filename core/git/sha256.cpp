// SPDX-License-Identifier: MIT
#include "core/git/sha256.h"

#include <openssl/evp.h>

namespace espalier {

std::string fingerprintOf(std::string_view bytes)
{
    std::array<unsigned char, EVP_MAX_MD_SIZE> sum{};
    unsigned length = 0;
    if (EVP_Digest(bytes.data(), bytes.size(), sum.data(), &length, EVP_sha256(), nullptr) != 1)
        return {};
    constexpr std::string_view digits = "0123456789ABCDEF";
    std::string text;
    for (unsigned i = 0; i < length; ++i) {
        if (i > 0)
            text += ':';
        text += digits[sum[i] >> 4];
        text += digits[sum[i] & 15];
    }
    return text;
}

} // namespace espalier
