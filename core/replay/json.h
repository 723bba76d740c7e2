// SPDX-License-Identifier: MIT
//
// A dry run in the stable form of the commands without a window (DEVELOPERS.md, "Commands").
//
//     std::cout << dryRunJson(*run) << '\n';
//     std::cout << batchJson(answer) << '\n';
//
// Written out by hand: a batch is mostly lines. A dry run of one commit takes 0.9 us of processor time, with nlohmann's library
// 4.2; of twenty commits 13 against 62 (tests/bench/bench_own_code).
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
