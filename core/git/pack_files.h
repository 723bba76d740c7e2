// SPDX-License-Identifier: MIT
//
// Which packs there are, and where an object is in them: their indices (version 2, as git's pack-format documentation has it).
//
//     auto packs = PackFiles::open(objectFolders(repository.commonDir()));
#pragma once

#include "core/git/mapped_file.h"
#include "core/git/oid.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

namespace espalier {

// The repository's object folder and its alternates (objects/info/alternates), without doubles.
std::vector<std::filesystem::path> objectFolders(const std::filesystem::path& commonDir);

// A number that changes when packs come or go in them.
std::uint64_t packFoldersState(const std::vector<std::filesystem::path>& folders);

// The packs of some object folders, mapped: each once in the process, however many have it open. Immutable; may be shared by
// threads.
class PackFiles {
  public:
    static std::shared_ptr<const PackFiles> open(std::vector<std::filesystem::path> folders);

    struct Pack {
        MappedFile index, pack;
        std::uint32_t count = 0;
    };
    const std::vector<std::filesystem::path>& folders() const { return m_folders; }
    const std::vector<std::shared_ptr<const Pack>>& packs() const { return m_packs; }

  private:
    std::vector<std::filesystem::path> m_folders;
    std::vector<std::shared_ptr<const Pack>> m_packs;
};

// Where the object begins in the pack; nothing when it is not there, or the index is damaged.
std::optional<std::uint64_t> findInPack(const PackFiles::Pack& pack, const Oid& id);

} // namespace espalier
