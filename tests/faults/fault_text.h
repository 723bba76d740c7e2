// SPDX-License-Identifier: MIT
//
// Texts of the fault tests: what programs print, by lines, and how two states differ. Private to tests/faults.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace espalier::test {

std::vector<std::string> linesOf(const std::string& text);
// What a shell's commands print, errors and all.
std::string capture(const std::string& script, const std::filesystem::path& folder);
std::string filesBelow(const std::filesystem::path& folder); // every one, but for git's own
// Lines of one and not the other, a few, for people.
std::string difference(const std::string& a, const std::string& b);
std::string oneLine(std::string text);
void add(std::vector<std::string>& to, std::vector<std::string> more);

} // namespace espalier::test
