// SPDX-License-Identifier: MIT
#include "core/git/oid.h"

namespace espalier {

namespace {

int digitValue(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

} // namespace

std::optional<Oid> Oid::parse(std::string_view text)
{
    if (text.size() != 40)
        return std::nullopt;
    Oid id;
    for (std::size_t i = 0; i < 20; ++i) {
        const int high = digitValue(text[2 * i]);
        const int low = digitValue(text[2 * i + 1]);
        if (high < 0 || low < 0)
            return std::nullopt;
        id.bytes[i] = static_cast<std::uint8_t>(high * 16 + low);
    }
    return id;
}

Oid Oid::fromRaw(const void* raw)
{
    Oid id;
    std::memcpy(id.bytes.data(), raw, 20);
    return id;
}

std::string Oid::hex() const
{
    static constexpr char digits[] = "0123456789abcdef";
    std::string text(40, '0');
    for (std::size_t i = 0; i < 20; ++i) {
        text[2 * i] = digits[bytes[i] >> 4];
        text[2 * i + 1] = digits[bytes[i] & 15];
    }
    return text;
}

} // namespace espalier
