// SPDX-License-Identifier: MIT
#include "core/git/running.h"

#include <algorithm>
#include <string>

namespace espalier {

namespace fs = std::filesystem;

std::optional<bool> isAnyProcess(const std::function<bool(const fs::path& process)>& answer)
{
    bool seen = false;
    std::error_code error;
    for (fs::directory_iterator at("/proc", error); !error && at != fs::directory_iterator(); at.increment(error)) {
        const std::string number = at->path().filename().string();
        if (!std::ranges::all_of(number, [](char c) { return c >= '0' && c <= '9'; }))
            continue;
        seen = true;
        if (answer(at->path()))
            return true;
    }
    return seen && !error ? std::optional(false) : std::nullopt;
}

} // namespace espalier
