// SPDX-License-Identifier: MIT
//
// Why a guess, in one sentence for people. Private to core/propose.
//
//     reasonFor(guess, "CHANGELOG.md");     // "9 of 10 like this in CHANGELOG.md were settled with both, yours first"
#pragma once

#include "core/propose/record.h"

#include <string>

namespace espalier {

// One line; the path's control characters are made visible.
std::string reasonFor(const Guess& guess, std::string_view path);

} // namespace espalier
