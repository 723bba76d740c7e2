// SPDX-License-Identifier: MIT
//
// Bytes out of a repository, made safe to show. Names, subjects and paths may hold anything: control characters,
// direction overrides, bytes that are not UTF-8.
//
//     displayText("to\u202Epic\x1b[31m")   // "to\\u202Epic\\x1B[31m"
//     escapePath("caf\xe9.txt")            // "caf\\xe9.txt", the form of the JSON output
#pragma once

#include <string>
#include <string_view>

namespace espalier {

// One line of plain UTF-8 for people: control characters, line ends and bidirectional formatting characters become
// visible escapes, bytes that are not UTF-8 become \xNN. Never longer than `limit` bytes (an ellipsis marks the cut).
std::string displayText(std::string_view bytes, std::size_t limit = 4096);

// A path for machines: valid UTF-8 stays as it is, every byte that is not part of it becomes \xnn.
std::string escapePath(std::string_view bytes);

// Whether the bytes are well-formed UTF-8 (RFC 3629: no surrogates, no overlong forms).
bool isUtf8(std::string_view bytes);

// The first line of a commit message, folded as git's subject is: leading blank lines dropped, the lines of the first
// paragraph joined by a space (common practice).
std::string subjectOf(std::string_view message);

// "1 commit", "2 commits": the one place where plurals are made.
std::string counted(std::size_t number, std::string_view singular, std::string_view plural);

} // namespace espalier
