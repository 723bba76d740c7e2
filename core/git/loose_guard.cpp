// SPDX-License-Identifier: MIT
#include "core/git/loose_guard.h"

#include "core/git/handles.h"
#include "core/git/mapped_file.h"
#include "core/git/pack_reader.h"
#include "core/git/unpack.h"

#include <git2/sys/errors.h>
#include <git2/sys/odb_backend.h>

#include <array>

namespace espalier {

namespace {

namespace fs = std::filesystem;

// libgit2 gives packs 2 and loose files 1, and keeps those of one number in the order in which they were added: this one is
// asked when no pack has the object.
constexpr int behindPacks = 2;
// What libgit2 unpacks to find an object's header.
constexpr std::size_t longestHeader = 64;

struct Guard : git_odb_backend {
    std::vector<fs::path> folders;
    Inflater inflater;
};

enum class Much { Header, All };

bool isWhole(Inflater& inflater, std::string_view packed, Much much)
{
    if (!inflater.begin(packed))
        return false;
    std::array<char, 65536> piece;
    const std::size_t first = inflater.upTo(piece.data(), longestHeader);
    if (first < longestHeader)
        return inflater.ends();
    if (much == Much::Header)
        return true;
    while (inflater.upTo(piece.data(), piece.size()) == piece.size()) {
    }
    return inflater.ends();
}

int damaged(const fs::path& file)
{
    git_error_set_str(GIT_ERROR_ODB, ("the object's file is damaged: " + file.string()).c_str());
    return -1;
}

// GIT_PASSTHROUGH: libgit2's own reader may look at it.
int check(Guard& guard, const fs::path& name, Much much)
{
    for (const fs::path& folder : guard.folders) {
        const fs::path path = folder / name;
        const auto file = MappedFile::open(path);
        if (!file && file.error().kind == ErrorKind::NotFound)
            continue;
        return file && isWhole(guard.inflater, file->bytes(), much) ? GIT_PASSTHROUGH : damaged(path);
    }
    return GIT_PASSTHROUGH;
}

fs::path nameOf(const git_oid* id)
{
    const std::string hex = fromGit(*id).hex();
    return fs::path(hex.substr(0, 2)) / hex.substr(2);
}

int checkRead(void**, std::size_t*, git_object_t*, git_odb_backend* guard, const git_oid* id)
{
    return check(*static_cast<Guard*>(guard), nameOf(id), Much::All);
}

int checkHeader(std::size_t*, git_object_t*, git_odb_backend* guard, const git_oid* id)
{
    return check(*static_cast<Guard*>(guard), nameOf(id), Much::Header);
}

int checkPrefix(git_oid*, void**, std::size_t*, git_object_t*, git_odb_backend* backend, const git_oid* beginning,
                std::size_t digits)
{
    Guard& guard = *static_cast<Guard*>(backend);
    const std::string hex = fromGit(*beginning).hex().substr(0, digits);
    if (hex.size() < 2)
        return GIT_PASSTHROUGH;
    for (const fs::path& folder : guard.folders) {
        std::error_code error;
        for (fs::directory_iterator at(folder / hex.substr(0, 2), error), end; !error && at != end; at.increment(error))
            if (const std::string name = at->path().filename().string(); name.starts_with(hex.substr(2)))
                if (const int answer = check(guard, fs::path(hex.substr(0, 2)) / name, Much::All);
                    answer != GIT_PASSTHROUGH)
                    return answer;
    }
    return GIT_PASSTHROUGH;
}

} // namespace

void guardLooseObjects(git_repository* repository)
{
    Handle<git_odb> odb;
    if (git_repository_odb(out(odb), repository) < 0)
        return;
    auto guard = std::make_unique<Guard>();
    if (git_odb_init_backend(guard.get(), GIT_ODB_BACKEND_VERSION) < 0)
        return;
    guard->folders = objectFolders(git_repository_commondir(repository));
    guard->read = checkRead;
    guard->read_header = checkHeader;
    guard->read_prefix = checkPrefix;
    guard->free = [](git_odb_backend* backend) { delete static_cast<Guard*>(backend); };
    if (git_odb_add_backend(odb.get(), guard.get(), behindPacks) == 0)
        (void)guard.release();
}

} // namespace espalier
