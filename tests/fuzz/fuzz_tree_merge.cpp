// SPDX-License-Identifier: MIT
//
// The input is a little program that builds three trees in memory from one set of paths, whose contents it chooses; they
// are merged and every tree of the result must parse. Raw bytes are parsed as a tree, too.
#include "core/merge/tree_merge.h"

#include <git2.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <filesystem>
#include <map>

using namespace espalier;

namespace {

using Paths = std::map<std::string, int>;

// Builds a tree of paths like "b/c/a"; a name that is both file and folder stays a folder.
Oid build(ObjectStore& store, const Paths& paths)
{
    std::map<std::string, Paths> folders;
    std::map<std::string, int> files;
    for (const auto& [path, content] : paths) {
        const std::size_t slash = path.find('/');
        if (slash == std::string::npos)
            files[path] = content;
        else
            folders[path.substr(0, slash)][path.substr(slash + 1)] = content;
    }
    std::vector<TreeEntry> entries;
    for (const auto& [name, below] : folders)
        entries.push_back({name, FileMode::Tree, build(store, below)});
    for (const auto& [name, content] : files) {
        if (folders.contains(name))
            continue;
        std::string text;
        for (int i = 0; i < 12; ++i)
            text += std::to_string(i == content % 13 ? content : i) + "\n";
        const FileMode mode = content % 7 == 0   ? FileMode::Symlink
                              : content % 7 == 1 ? FileMode::Executable
                                                 : FileMode::File;
        entries.push_back({name, mode, store.add(ObjectType::Blob, text)});
    }
    std::ranges::sort(entries, [](const TreeEntry& x, const TreeEntry& y) {
        return compareTreeNames(x.name, x.isTree(), y.name, y.isTree()) < 0;
    });
    return store.add(ObjectType::Tree, formatTree(entries));
}

void walk(ObjectStore& store, const Oid& tree)
{
    const auto object = store.read(tree, ObjectType::Tree);
    if (!object)
        std::abort();
    const auto entries = parseTree(object->view());
    if (!entries)
        std::abort();
    for (const TreeEntry& entry : *entries)
        if (entry.isTree())
            walk(store, entry.id);
}

const Repository& emptyRepository()
{
    static const Repository repository = [] {
        const auto path = std::filesystem::temp_directory_path() / "espalier-fuzz.git";
        git_libgit2_init();
        git_repository* made = nullptr;
        git_repository_init(&made, path.c_str(), 1);
        git_repository_free(made);
        auto opened = Repository::open(path);
        if (!opened)
            std::abort();
        return std::move(*opened);
    }();
    return repository;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    (void)parseTree({reinterpret_cast<const char*>(data), size});
    ObjectStore store(emptyRepository());
    std::array<Paths, 3> sides;
    for (std::size_t i = 0; i + 4 <= size && i < 160; i += 4) {
        std::string path;
        for (int depth = data[i] % 3; depth > 0; --depth)
            path += std::string(1, char('a' + (data[i] >> (2 * depth)) % 4)) + "/";
        path += char('a' + data[i + 1] % 6);
        for (std::size_t side = 0; side < 3; ++side)
            if (data[i + 2] & (1u << side))
                sides[side][path] = data[i + 3] + (data[i + 2] & (8u << side) ? int(side) : 0);
    }
    MergeCaches caches;
    const auto merge =
        mergeTrees(store, build(store, sides[0]), build(store, sides[1]), build(store, sides[2]), {}, caches);
    if (!merge)
        std::abort();
    walk(store, merge->tree);
    return 0;
}
