// SPDX-License-Identifier: MIT
#include "core/git/authorities.h"

#include <dlfcn.h>
#include <git2.h>

#include <mutex>
#include <string>

struct mbedtls_x509_crt;

namespace {

thread_local bool isStarting = false;
std::string leftOut;

constexpr int cannotBeRead = -0x2900; // MBEDTLS_ERR_X509_FILE_IO_ERROR

} // namespace

// The dynamic linker takes this one before mbedTLS's of the same name: what a program defines itself comes first.
extern "C" [[gnu::visibility("default")]] int mbedtls_x509_crt_parse_file(mbedtls_x509_crt* chain, const char* path)
{
    if (isStarting && leftOut.empty()) {
        leftOut = path;
        return 0;
    }
    using Parse = int (*)(mbedtls_x509_crt*, const char*);
    static const auto parse = reinterpret_cast<Parse>(::dlsym(RTLD_NEXT, "mbedtls_x509_crt_parse_file"));
    return parse ? parse(chain, path) : cannotBeRead;
}

namespace espalier {

void startLibgit2()
{
    isStarting = true;
    git_libgit2_init();
    isStarting = false;
}

void readAuthorities()
{
    static std::once_flag once;
    std::call_once(once, [] {
        if (!leftOut.empty())
            git_libgit2_opts(GIT_OPT_SET_SSL_CERT_LOCATIONS, leftOut.c_str(), nullptr);
    });
}

} // namespace espalier
