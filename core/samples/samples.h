// SPDX-License-Identifier: MIT
//
// Builds sample repositories from recipes: text files in sample-repos/ that say, commit by commit, what happens in
// upstream, fork and clone. The same recipe gives the same ids every time.
#pragma once

#include "core/git/error.h"
#include "core/git/progress.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

struct SampleInfo {
    std::string name;    // "same-lines"
    std::string summary; // one line: what can be learnt from it
};
struct Sample {
    std::filesystem::path upstream, fork, clone; // DIR/upstream.git, DIR/fork.git, DIR/clone
};

// The recipes compiled into the program, by name.
std::vector<SampleInfo> listSamples();
// Errors: NotFound (no such recipe), Refused (`folder` exists and is not empty), Storage.
Result<Sample> buildSample(const std::string& name, const std::filesystem::path& folder, const Progress& progress = {});
// From the text of a recipe; for tests and for people who write their own.
Result<Sample> buildSampleFromText(const std::string& recipe, const std::filesystem::path& folder,
                                   const Progress& progress = {});

} // namespace espalier
