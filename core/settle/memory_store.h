// SPDX-License-Identifier: MIT
//
// Where the memory of settled hunks is kept: commonDir()/espalier/remembered/, a file a hunk, named by its three texts.
// Bounded in number and age; whoever writes removes what is too much or too old. The form is in README.md.
//
//     remember(repository, {name, sides, decision, "doc/tides.md", "topic/x", commit, "Tides", now}, now);
//     const Memory memory = readMemory(repository, now);
#pragma once

#include "core/git/repository.h"
#include "core/settle/memory.h"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace espalier {

inline constexpr std::size_t mostRemembered = 2'000;
inline constexpr std::int64_t rememberedFor = std::int64_t(180) * 24 * 3600; // seconds
// Sides and text of a larger hunk are not kept; the very same hunk is known again all the same, where it was not typed.
inline constexpr std::size_t largestRemembered = 64'000;

std::string formatSettledBefore(const SettledBefore& settled);
// `name` is that of the file. Nothing where the bytes are damaged, name no decision, or stand for other sides.
std::optional<SettledBefore> parseSettledBefore(std::string_view bytes, const Oid& name);

// What is not too old. What cannot be read is left out.
Memory readMemory(const Repository& repository, std::int64_t now);
// Keeps it, in the place of an older one for the same texts; an undecided one is not kept. Errors: Storage.
Result<void> remember(const Repository& repository, const SettledBefore& settled, std::int64_t now);
// Nothing to forget is no error. Errors: Storage.
Result<void> forget(const Repository& repository, const Oid& name);

} // namespace espalier
