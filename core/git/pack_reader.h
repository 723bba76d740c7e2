// SPDX-License-Identifier: MIT
//
// Objects straight from packs and loose files, for reading many small ones by all cores. Formats: git's own documentation,
// gitformat-pack(5). What is not understood (an old index, a damaged entry) is simply not found here; libgit2, through
// ObjectStore, is then asked and gives the error.
//
// What is compressed is checked against its checksum (zlib's), lengths against what the headers say. readChecked() also checks
// that the bytes have the id that was asked for: an entry's header and the offset of a delta's base are covered by no
// checksum. The others do not.
//
// Beside libgit2's git_odb_read, every file and tree of a checkout once, checked, one thread, processor time
// (tests/bench/bench_own_code): 291 ms against 419 of a project of 128,000 commits, 252 against 321 of one of 80,000; in a small
// repository no difference. Views, checked by checksum only, are what it is for.
//
//     auto packs = PackFiles::open(objectFolders(repository.commonDir()));   // shared by all workers
//     PackReader reader(packs);                                              // one a worker
//     if (auto commit = reader.view(id)) use(commit->bytes);                 // valid until the next call
#pragma once

#include "core/git/objects.h"
#include "core/git/pack_files.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct RawObject {
    ObjectType type = ObjectType::Blob;
    std::string_view bytes;
    bool whole = true; // false: only the beginning was asked for, and there is more
};

class PackReader {
  public:
    // `baseBytes`: how much is kept of what deltas are made from.
    explicit PackReader(std::shared_ptr<const PackFiles> packs, std::size_t baseBytes = std::size_t(16) << 20);
    ~PackReader();
    PackReader(const PackReader&) = delete;
    PackReader& operator=(const PackReader&) = delete;

    // The object, or the first `limit` bytes of it where that saves work. Nothing when it is not found, is damaged, or is
    // larger than 64 MiB. The bytes are valid until the next call.
    std::optional<RawObject> view(const Oid& id, std::size_t limit = SIZE_MAX);
    // The whole object, to keep: as readChecked(), without that check.
    std::optional<Object> readUnchecked(const Oid& id);
    // The whole object, for one look: as readUnchecked(), and nothing of it stays with the reader.
    std::optional<Object> readOnce(const Oid& id);
    // The whole object, to keep: shared with what the reader keeps as the base of further deltas. Its SHA-1 is `id`.
    std::optional<Object> readChecked(const Oid& id);
    // The last readChecked() or size() gave nothing although the object is here, and not for its size: every copy is damaged.
    bool foundDamaged() const;
    // Its size, by reading no more than headers. Nothing as above, but of any size.
    std::optional<std::uint64_t> size(const Oid& id);
    bool contains(const Oid& id);

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

} // namespace espalier
