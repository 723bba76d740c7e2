// SPDX-License-Identifier: MIT
//
// The resolutions that git records (rerere): what it has kept of a conflict that was settled with it, and what it is to find
// of one that was settled here. Only where the repository's configuration has it on, as git reads that: rerere.enabled, and
// where that is not set, a folder rr-cache that is there.
//
// A conflict is known by the SHA-1 of its hunks, the smaller side first, each with a zero byte behind it; under that name stand
// the file with its conflicts (preimage) and settled (postimage). Source: git's documentation of rerere (technical/rerere) and
// what git itself writes (test_git_resolutions).
//
//     const GitResolutions git(repository);
//     if (const auto found = git.find(text))
//         found->hunks[0];                        // what was settled there, if it can be told
//     git.record(text, settledText(text, settlement));
#pragma once

#include "core/conflicts/conflict_text.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// A conflicting file as git keeps it, and the name that it has there.
struct ConflictImage {
    Oid name;
    std::string bytes;
};
// Nothing for a whole path, and where lines of the file look like markers.
std::optional<ConflictImage> conflictImage(const ConflictText& text);

// What stands in the place of each hunk of a settled file: between the merged lines before and behind it, where both are found
// again. `between` as ConflictText has it.
std::vector<std::optional<std::string>> hunksIn(const std::vector<std::string>& between, std::string_view settled);

class GitResolutions {
  public:
    explicit GitResolutions(const Repository& repository);
    bool enabled() const { return m_enabled; }

    struct Found {
        std::vector<std::optional<std::string>> hunks;
        std::int64_t when = 0; // seconds since 1970
    };
    // Nothing where git has recorded none that fits, or is not to be asked.
    std::optional<Found> find(const ConflictText& text) const;
    // Whether it was written: not where git does not record, or has a resolution of its own for it, which stays. Errors: Storage.
    Result<bool> record(const ConflictText& text, std::string_view settled) const;

  private:
    std::filesystem::path m_folder;
    bool m_enabled = false;
};

// Records how the conflicts of a replay were settled, once it has been applied. Errors: Broken (an object is missing), Storage,
// Cancelled.
Result<void> recordResolutions(const Repository& repository, const DryRun& run, const Settlements& settlements,
                               const Progress& progress = {});

} // namespace espalier
