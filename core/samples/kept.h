// SPDX-License-Identifier: MIT
//
// Samples that were opened from the window stay in a folder of the user's, with all that was done in them, until the user
// removes them. A file in each tells that it was built to the end, and that it is ours to remove.
//
//     auto sample = openKeptSample("same-lines", root);       // builds root/same-lines, or finds it as it was left
//     auto gone = removeKeptSample("same-lines", root);
#pragma once

#include "core/samples/samples.h"

namespace espalier {

// By name; empty when `root` is not there.
std::vector<std::string> keptSamples(const std::filesystem::path& root);

// The kept sample as it was left, else a new one. Where a folder of that name is there that was not built to the end, or
// not by us, it is left alone and the sample goes to NAME-2 and so on. Errors: those of buildSample().
Result<Sample> openKeptSample(const std::string& name, const std::filesystem::path& root,
                              const Progress& progress = {});

// Clears away what a build left behind that a crash or a power failure ended; what another program is building stays.
void removeUnfinishedSamples(const std::filesystem::path& root);

// Removes a sample that keptSamples() names, whatever was done in it: ask first. Never follows a symbolic link.
// Errors: NotFound (nothing of that name that is ours), Storage (what could not be removed, and the rest stays).
Result<void> removeKeptSample(const std::string& name, const std::filesystem::path& root);

} // namespace espalier
