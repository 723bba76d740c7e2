// SPDX-License-Identifier: MIT
//
// What past merges of the repository have settled, kept in commonDir()/espalier/settled-merges: finding it out costs a merge of
// trees each, and never changes. Only saves time, and may be deleted whenever one likes. Holds sums and ids, no texts.
//
// The file is a line with a version, then entries: four bytes of length, eight of SHA-1 over the rest, the rest. It only grows, until
// it is begun anew; it is read up to the first entry that is damaged, and what is behind that is dropped with the next write.
//
//     MinedStore store(repository);
//     for (MinedMerge& merge : store.read()) …
//     store.keep(merges);
#pragma once

#include "core/git/repository.h"
#include "core/merge/text_merge.h"
#include "core/propose/record.h"

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct MinedHunk {
    HunkFacts facts;
    LineRange place; // lines of `recorded`
};
struct MinedFile {
    FileFacts facts;
    Oid ancestor, newBase, commit; // blobs
    Oid recorded;                  // the blob that the merge has
    std::vector<MinedHunk> hunks;
};
struct MinedMerge {
    Oid merge;
    std::vector<MinedFile> files; // with conflicts by lines that were settled; none for most merges
};

// The bytes of one entry, and back; nothing where they are damaged.
std::string formatMinedMerge(const MinedMerge& merge);
std::optional<MinedMerge> parseMinedMerge(std::string_view entry);
// A file's entries, up to the first damaged one; `good` is how many of its bytes are whole. 0: it is of another version.
std::vector<MinedMerge> parseMinedMerges(std::string_view file, std::size_t& good);

class MinedStore {
  public:
    explicit MinedStore(const Repository& repository);

    // Nothing where nothing is kept, the file is of another version, or parents differ from what the commits say (Overrides).
    std::vector<MinedMerge> read();
    // Adds them. Errors: Storage; nothing but time is lost by it.
    Result<void> keep(std::span<const MinedMerge> merges);

  private:
    std::filesystem::path m_file;
    bool m_usable = true;
    std::size_t m_good = 0; // bytes of the file that are whole
    bool m_damaged = false; // there are others behind them
};

} // namespace espalier
