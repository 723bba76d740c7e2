// SPDX-License-Identifier: MIT
//
// Which deleted files came back under another name, as git's diffcore-rename decides for merges: equal contents first, then
// equal base names at 75% (where several files have the name: in the folder that most files of the old one went to), then the
// best pairs at 50%. Private to core/merge.
#pragma once

#include "core/merge/rename_walk.h"
#include "core/tree/three_way.h"

#include <memory>
#include <mutex>
#include <unordered_map>

namespace espalier {

inline constexpr std::uint32_t pieceHashes = 107927; // git's HASHBASE, how many hashes there are; fits 17 bits

// What similarity needs of a blob: bytes by hash of chunk, as git's spanhash. Kept between calls; may be shared by threads (it
// locks).
class SimilarityCache {
  public:
    struct Print {
        std::vector<std::pair<std::uint32_t, std::uint32_t>> chunks; // hash, bytes; in order of hash
        std::uint64_t size = 0;
    };
    using PrintPtr = std::shared_ptr<const Print>; // never null
    Result<PrintPtr> print(ObjectStore& store, const Oid& blob);
    Result<std::uint64_t> size(ObjectStore& store, const Oid& blob);
    // In how many prints so far a hash was.
    std::vector<std::uint32_t> frequencies();
    // Forgets everything when it has grown large.
    void trim();

  private:
    std::mutex m_mutex;
    std::unordered_map<Oid, PrintPtr> m_prints;
    std::unordered_map<Oid, std::uint64_t> m_sizes;
    std::vector<std::uint32_t> m_frequencies = std::vector<std::uint32_t>(pieceHashes);
    std::size_t m_cost = 0;
};

// What one side deleted and added, and which of it is equal. Empty files are left out: nothing can be told
// from them.
class RenameField {
  public:
    explicit RenameField(Departures departures);

    using Index = std::uint32_t;
    using File = std::pair<std::string, PathEntry>;
    struct Alike { // files of equal contents on both sides, in order of path
        std::vector<Index> sources, targets;
    };
    const std::vector<File>& sources() const { return m_departures.deleted; }
    const std::vector<File>& targets() const { return m_departures.added; }
    const std::set<std::string>& removedFolders() const { return m_departures.removedFolders; }
    const std::vector<Alike>& alike() const { return m_alike; }

  private:
    Departures m_departures;
    std::vector<Alike> m_alike;
};

// How many files went from one folder to others.
class FolderTargets {
  public:
    void add(std::string_view folder, int count = 1);
    struct Target {
        std::string folder;
        int count = 0;
    };
    const std::vector<Target>& all() const { return m_targets; } // in the order of their first file
    // Whether `unknown` more files could still change which one got the most.
    bool settled(int unknown) const;
    // The one with the most; where several have as many, the one that git comes upon first.
    const std::string& most() const;

  private:
    std::vector<Target> m_targets;
};

struct FoundRenames {
    std::map<std::string, std::string> to;        // from deleted path to added path
    std::map<std::string, FolderTargets> folders; // removed folders whose new name is asked for, as far as is needed
};

struct RenameBounds {
    int limit = 0; // the side of a square of candidates above which similarity is not looked at (merge.renameLimit)
    std::size_t mostPairs = 0; // of candidates; with more, nothing is found and the error is Cancelled. 0: any number
};
Result<FoundRenames> findRenames(ObjectStore& store, SimilarityCache& cache, const RenameField& field,
                                 const RenameNeeds& needs, const RenameBounds& bounds, const Progress& progress);

} // namespace espalier
