// SPDX-License-Identifier: MIT
//
// Patterns of .gitattributes files, as git's wildmatch reads them. Private to core/merge.
#pragma once

#include <string_view>

namespace espalier {

// '*', '?' and sets stop at a '/'; "**/", "/**/" and "/**" cross folders. The whole text must match. `steps` bounds the work
// on crafted patterns: each look at a character takes one; once it is below zero nothing matches.
bool matchesWildcard(std::string_view pattern, std::string_view text, long& steps);

} // namespace espalier
