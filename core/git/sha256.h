// SPDX-License-Identifier: MIT
//
// SHA-256 of bytes (FIPS 180-4, section 6.2), for the fingerprints of certificates and host keys.
//
//     fingerprintOf(certificate);     // "5A:0F:…", as other programs print it
#pragma once

#include <string>
#include <string_view>

namespace espalier {

// The sum in pairs of upper-case hexadecimal digits with colons between them; empty where OpenSSL may not compute it.
std::string fingerprintOf(std::string_view bytes);

} // namespace espalier
