// SPDX-License-Identifier: MIT
#include "core/git/oid.h"

namespace espalier {

namespace {

constexpr std::array<std::int8_t, 256> digitValues = [] {
    std::array<std::int8_t, 256> values{};
    values.fill(-1);
    for (int i = 0; i < 10; ++i)
        values[std::size_t('0' + i)] = std::int8_t(i);
    for (int i = 0; i < 6; ++i)
        values[std::size_t('a' + i)] = values[std::size_t('A' + i)] = std::int8_t(10 + i);
    return values;
}();

} // namespace

std::optional<Oid> Oid::parse(std::string_view text)
{
    if (text.size() != 40)
        return std::nullopt;
    Oid id;
    // Negative as soon as one digit is: tens of thousands of refs are parsed at each look at a large repository.
    int all = 0;
    for (std::size_t i = 0; i < 20; ++i) {
        const int high = digitValues[static_cast<unsigned char>(text[2 * i])];
        const int low = digitValues[static_cast<unsigned char>(text[2 * i + 1])];
        all |= high | low;
        id.bytes[i] = static_cast<std::uint8_t>(high * 16 + low);
    }
    return all < 0 ? std::nullopt : std::optional(id);
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
