// SPDX-License-Identifier: MIT
#include "core/git/library.h"
#include "core/git/authorities.h"
#include "core/git/filters.h"
#include "core/git/handles.h"

#include <mutex>

namespace espalier {

void startLibrary()
{
    static std::once_flag once;
    std::call_once(once, [] {
        startLibgit2();
        // A ref must never name an object that a power cut could take away.
        git_libgit2_opts(GIT_OPT_ENABLE_FSYNC_GITDIR, 1);
        // ObjectStore checks what it reads itself, several times as quick.
        git_libgit2_opts(GIT_OPT_ENABLE_STRICT_HASH_VERIFICATION, 0);
        registerFilters();
    });
}

namespace {

ErrorKind kindOf(int errorClass)
{
    switch (errorClass) {
    case GIT_ERROR_OS:
    case GIT_ERROR_FILESYSTEM:
        return ErrorKind::Storage;
    case GIT_ERROR_NET:
    case GIT_ERROR_SSL:
    case GIT_ERROR_SSH:
    case GIT_ERROR_HTTP:
        return ErrorKind::Network;
    case GIT_ERROR_CALLBACK:
        return ErrorKind::Cancelled;
    default:
        return ErrorKind::Broken;
    }
}

// What helps, where the kind of failure tells it better than the caller can: neither free space nor fsck mends a setting, and
// free space no object.
std::string remedyFor(int errorClass, std::string remedy)
{
    switch (errorClass) {
    case GIT_ERROR_CONFIG:
        return "Correct that setting; git config --list --show-origin tells which file it stands in";
    case GIT_ERROR_ODB:
    case GIT_ERROR_OBJECT:
    case GIT_ERROR_ZLIB:
    case GIT_ERROR_TREE:
    case GIT_ERROR_SHA:
        return remedy.empty() || remedy.contains("free space") ? "git fsck in the repository tells what is damaged"
                                                               : remedy;
    default:
        return remedy;
    }
}

} // namespace

std::unexpected<Error> libgitError(std::string what, std::string on, std::string remedy)
{
    const git_error* last = git_error_last();
    ErrorKind kind = ErrorKind::Broken;
    if (last && last->klass != GIT_ERROR_NONE) {
        kind = kindOf(last->klass);
        remedy = remedyFor(last->klass, std::move(remedy));
        // libgit2's own words for "nothing was said".
        if (last->message && *last->message && std::string_view(last->message) != "no error")
            what += " [" + std::string(last->message) + "]";
    }
    return fail(kind, std::move(what), std::move(on), std::move(remedy));
}

} // namespace espalier
