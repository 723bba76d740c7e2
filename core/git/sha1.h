// SPDX-License-Identifier: MIT
//
// SHA-1 over pieces of bytes, by OpenSSL. For checksums of git's files and for change ids; objects are named by hashObject(),
// which also notices collision attacks and takes almost three times as long: 96 us against 34 us for 8 KB.
//
//     Sha1 sum;
//     sum.add(bytes);
//     Oid id = sum.finish();
#pragma once

#include "core/git/oid.h"

#include <memory>
#include <string_view>

struct evp_md_ctx_st;

namespace espalier {

class Sha1 {
  public:
    Sha1();
    void add(std::string_view bytes);
    // The sum of everything added; the object is as new afterwards.
    Oid finish();

  private:
    struct Free {
        void operator()(evp_md_ctx_st* context) const;
    };
    std::unique_ptr<evp_md_ctx_st, Free> m_context;
};

} // namespace espalier
