// SPDX-License-Identifier: MIT
//
// Random operations in a row on one scene, of the program and of git beside it, most with a fault at a random call. After
// each nothing may be lost or stuck.
//
//     const RandomReport report = randomOperations(folder, 100, seed);
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace espalier::test {

struct RandomReport {
    std::size_t operations = 0, faults = 0; // done, and those whose fault was reached
    std::vector<std::string> wrong;
};
// Ends at the first thing that is wrong: what follows would be about it too.
RandomReport randomOperations(const std::filesystem::path& root, std::size_t count, std::uint64_t seed);

} // namespace espalier::test
