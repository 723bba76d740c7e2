// SPDX-License-Identifier: MIT
//
// The processes of this machine, as /proc shows them.
//
//     const auto isHere = isAnyProcess([&](const fs::path& process) { return isInside(process, folder); });
#pragma once

#include <filesystem>
#include <functional>
#include <optional>

namespace espalier {

// True as soon as `answer` is true of one process, whose folder it gets; nothing when no process can be seen, not even this one.
std::optional<bool> isAnyProcess(const std::function<bool(const std::filesystem::path& process)>& answer);

} // namespace espalier
