// SPDX-License-Identifier: MIT
//
// The settings of a branch, `branch.<name>.*` of the repository's own config: they go with it when it is renamed and are
// kept when it is deleted. Private to core/keep.
#pragma once

#include "core/keep/logbook.h"

#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace espalier {

using ConfigLines = std::vector<std::pair<std::string, std::string>>; // full key, value; a key may come again

// Of a branch by its short name; `redacted` takes passwords out of addresses.
ConfigLines readBranchConfig(const Repository& repository, const std::string& branch, bool redacted);
Result<void> removeBranchConfig(const Repository& repository, const std::string& branch);
// Lines that are there already are not repeated.
Result<void> addConfigLines(const Repository& repository, const ConfigLines& lines);
Result<void> renameBranchConfig(const Repository& repository, const std::string& from, const std::string& to);

// The short names when the moves are a rename: one ref goes, one comes at the same commit.
std::optional<std::pair<std::string, std::string>> renameIn(const std::vector<RefMove>& moves);

} // namespace espalier
