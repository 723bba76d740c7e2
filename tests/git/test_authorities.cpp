// SPDX-License-Identifier: MIT
//
// A start reads no list of certificate authorities; a connection does. Seen by fopen(), which mbedTLS opens the list with: the
// program's own function of that name comes before libc's.
#include "core/git/authorities.h"
#include "core/git/library.h"

#include <QtTest/QtTest>

#include <dlfcn.h>

#include <atomic>
#include <cstdio>
#include <string_view>

namespace {

std::atomic<int> listsOpened = 0;

std::FILE* openAndCount(const char* name, const char* path, const char* mode)
{
    if (std::string_view(path).contains("/ssl/"))
        ++listsOpened;
    using Open = std::FILE* (*)(const char*, const char*);
    return reinterpret_cast<Open>(::dlsym(RTLD_NEXT, name))(path, mode);
}

} // namespace

extern "C" [[gnu::visibility("default")]] std::FILE* fopen(const char* path, const char* mode)
{
    return openAndCount("fopen", path, mode);
}
extern "C" [[gnu::visibility("default")]] std::FILE* fopen64(const char* path, const char* mode)
{
    return openAndCount("fopen64", path, mode);
}

class TestAuthorities : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void readByTheFirstConnection()
    {
        if (!::dlsym(RTLD_DEFAULT, "mbedtls_x509_crt_init"))
            QSKIP("libgit2 is not built upon mbedTLS here");
        espalier::startLibrary();
        QCOMPARE(int(listsOpened), 0);
        espalier::readAuthorities();
        QCOMPARE(int(listsOpened), 1);
        espalier::readAuthorities();
        QCOMPARE(int(listsOpened), 1);
    }
};

QTEST_GUILESS_MAIN(TestAuthorities)
#include "test_authorities.moc"
