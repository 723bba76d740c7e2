// SPDX-License-Identifier: MIT
//
// The name of an object: the SHA-1 of its header and contents, 20 bytes.
//
//     Oid id = Oid::parse("4b825dc642cb6eb9a060e54bf8d69288fbee4904").value();
//     id.hex();        // forty digits
//     id.brief();      // "4b825dc"
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <cstring>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace espalier {

struct Oid {
    std::array<std::uint8_t, 20> bytes{};

    // Nothing when `text` is not exactly forty hexadecimal digits.
    static std::optional<Oid> parse(std::string_view text);
    // The id in its raw form of 20 bytes; `raw` must point to as many.
    static Oid fromRaw(const void* raw);

    // Forty lower-case digits.
    std::string hex() const;
    // The first seven digits, for people.
    std::string brief() const { return hex().substr(0, 7); }
    // Zero is git's "no object".
    bool isZero() const { return *this == Oid{}; }

    friend auto operator<=>(const Oid&, const Oid&) = default;
    friend bool operator==(const Oid& a, const Oid& b) { return std::memcmp(a.bytes.data(), b.bytes.data(), 20) == 0; }
};

// The tree with no entries and the blob with no bytes have these ids in every repository.
inline constexpr std::string_view emptyTreeHex = "4b825dc642cb6eb9a060e54bf8d69288fbee4904";
inline constexpr std::string_view emptyBlobHex = "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391";

} // namespace espalier

template <> struct std::hash<espalier::Oid> {
    std::size_t operator()(const espalier::Oid& id) const noexcept
    {
        // The bytes are already a hash.
        std::size_t value;
        std::memcpy(&value, id.bytes.data(), sizeof value);
        return value;
    }
};
