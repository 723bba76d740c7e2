// SPDX-License-Identifier: MIT
//
// A dry run in the stable form of the commands without a window (DEVELOPERS.md, "Commands").
//
//     std::cout << dryRunJson(*run) << '\n';
//     std::cout << batchJson(answer) << '\n';
#pragma once

#include "core/replay/batch.h"

#include <string>
#include <string_view>

namespace espalier {

// One object in one line, without a line end. `entry`, when given, is added as "entry" (the command `replay`).
std::string dryRunJson(const DryRun& run, std::optional<std::string> entry = {});
// A line of `dry-run --batch`: the same object, with full ids, or {"tip","onto","error"}.
std::string batchJson(const BatchAnswer& answer);

} // namespace espalier
