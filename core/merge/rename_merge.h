// SPDX-License-Identifier: MIT
//
// Brings together what renames have taken apart: the entry at a file's new name gets what the other side did at its old one, and
// what one side put into a directory that the other renamed goes along. git's collect_renames and process_renames. Private to
// core/merge.
#pragma once

#include "core/merge/directory_renames.h"
#include "core/merge/path_merge.h"

namespace espalier {

class RenameMerger {
  public:
    // `entries`: every path that the commit changed.
    RenameMerger(const MergeScene& scene, PathMerger& paths, MergeEntries& entries)
        : m_scene(scene), m_paths(paths), m_entries(entries)
    {
    }

    Result<void> run();

    // git calls a merge with such directories or files unclean, but names no path with stages.
    std::vector<std::string> unclearFolders;
    std::set<std::string> blocked; // would be taken along, but something is in the way

  private:
    using Renames = std::map<std::string, std::string>;
    struct Side {
        bool ofCommit = false;
        FoundRenames found;
        DirectoryMoves moves;
        std::vector<std::string> added; // that the other side's moved directories might take along
        Arrivals arrivals;              // of these, where they would go
    };

    Result<void> find(Side& side, const RenameNeeds& needs);
    Result<const RenameField*> newBaseField();
    Result<void> listAdded(Side& side, const std::map<std::string, std::string>& moves);
    Result<void> takeAlong(Side& side, const Side& other);
    Result<bool> inTheWay(const Side& side, const std::string& path);
    Result<void> moveEntry(const Side& side, const std::string& from, const std::string& to);
    bool matters(const Side& side, const std::string& source, const std::string& target) const;

    struct Rename {
        std::string source, target;
        bool ofCommit = false;
    };
    Result<void> process(const std::vector<Rename>& renames);
    Result<void> renamedByBoth(const std::string& source, const std::string& target, const std::string& otherTarget);
    Result<void> renamedByOne(const Rename& rename);

    // The entry of a path, made from the three trees when there is none yet.
    Result<MergeEntry*> entryAt(const std::string& path);

    const MergeScene& m_scene;
    PathMerger& m_paths;
    MergeEntries& m_entries;
    std::set<std::string> m_takenAlong; // new paths
};

} // namespace espalier
