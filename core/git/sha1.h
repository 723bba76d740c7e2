// SPDX-License-Identifier: MIT
//
// SHA-1 over pieces of bytes (FIPS 180-4, section 6.1). For checksums of git's files and for change ids; objects are named by
// hashObject(), which also notices collision attacks.
//
//     Sha1 sum;
//     sum.add(bytes);
//     Oid id = sum.finish();
#pragma once

#include "core/git/oid.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace espalier {

class Sha1 {
  public:
    Sha1();
    void add(std::string_view bytes);
    // The sum of everything added; the object is as new afterwards.
    Oid finish();

  private:
    std::array<std::uint32_t, 5> m_state;
    std::array<unsigned char, 64> m_block;
    std::uint64_t m_length = 0;
};

} // namespace espalier
