// SPDX-License-Identifier: MIT
//
// One path of a merge: contents and modes, and what becomes of it when they do not merge. git's handle_content_merge and
// process_entry. Private to core/merge.
#pragma once

#include "core/merge/merge_scene.h"
#include "core/tree/edit.h"

namespace espalier {

class PathMerger {
  public:
    explicit PathMerger(const MergeScene& scene) : m_scene(scene) {}

    struct Merged {
        PathEntry leaf;
        bool clean = true;
        std::optional<ConflictKind> kind;
        std::shared_ptr<const TextMerge> text; // that is not clean
    };
    // Contents and mode of something that both sides have, of one kind. `extraMarker`: so much longer are markers inside of
    // what is merged again.
    Result<Merged> mergeLeaves(const std::string& path, const MergeEntry& entry, int extraMarker = 0);

    // Puts the outcome into `edits`, and into `conflicts` what is open.
    Result<void> settle(const std::string& path, const MergeEntry& entry);

    // The name that a file gets when it has to make place: git's unique_path.
    static std::string asideOf(const std::string& path, std::string label);

    TreeEdits edits;
    std::vector<PathConflict> conflicts;
    std::vector<NotAsGit> notAsGit;

  private:
    Result<Merged> mergeTexts(const std::string& path, const MergeEntry& entry, bool withAncestor, Merged merged,
                              int extraMarker);
    std::string labelFor(bool ofCommit, const MergeEntry& entry, const std::string& path) const;
    void apart(const std::string& path, const MergeEntry& entry);
    // Takes what the tree holds from `edits`.
    void conflict(const std::string& path, const MergeEntry& entry, std::optional<ConflictKind> kind,
                  std::shared_ptr<const TextMerge> text = {});

    const MergeScene& m_scene;
    std::vector<std::shared_ptr<const std::string>> m_texts; // keeps the texts of the merge under way
};

} // namespace espalier
