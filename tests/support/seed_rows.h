// SPDX-License-Identifier: MIT
//
// Rows of a data-driven test over seeds: those given, or those that ESPALIER_MERGE_SEEDS=FIRST-LAST asks for by hand.
//
//     void merges_data() { test::addSeedRows({1, 2, 3}); }
//     void merges() { QFETCH(int, seed); ... }
#pragma once

#include <vector>

namespace espalier::test {

void addSeedRows(std::vector<int> seeds);

} // namespace espalier::test
