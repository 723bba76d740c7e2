// SPDX-License-Identifier: MIT
#include "core/git/sha1.h"

#include <openssl/evp.h>

#include <cstdlib>

namespace espalier {

namespace {

// Looked up once: by name it costs as much as the sum of a small object.
const EVP_MD* algorithm()
{
    static const EVP_MD* const found = [] {
        const EVP_MD* fetched = EVP_MD_fetch(nullptr, "SHA1", nullptr);
        return fetched ? fetched : EVP_sha1();
    }();
    return found;
}

// Without SHA-1 there is no git, and nothing that a caller could do.
void require(int done)
{
    if (done != 1)
        std::abort();
}

} // namespace

void Sha1::Free::operator()(evp_md_ctx_st* context) const { EVP_MD_CTX_free(context); }

Sha1::Sha1() : m_context(EVP_MD_CTX_new())
{
    require(m_context && EVP_DigestInit_ex(m_context.get(), algorithm(), nullptr));
}

void Sha1::add(std::string_view bytes) { require(EVP_DigestUpdate(m_context.get(), bytes.data(), bytes.size())); }

Oid Sha1::finish()
{
    Oid id;
    static_assert(sizeof id.bytes == 20);
    require(EVP_DigestFinal_ex(m_context.get(), id.bytes.data(), nullptr));
    require(EVP_DigestInit_ex(m_context.get(), nullptr, nullptr));
    return id;
}

} // namespace espalier
