// SPDX-License-Identifier: MIT
//
// Texts as words: what candidates are made of and what makes two hunks alike. A word is a run of letters, digits and
// underscores, a run of blanks, a line end, or one other sign; bytes above ASCII count as letters.
//
//     Words words = wordsOf("use Tide\\Map;\n");      // use, blank, Tide, \, Map, ;, line end
#pragma once

#include "core/merge/line_diff.h"

#include <cstdint>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace espalier {

// The views point into the text that was taken apart.
std::vector<std::string_view> wordsOf(std::string_view text);
// The same line by line, line ends included.
std::vector<std::string_view> linesIn(std::string_view text);

bool isBlank(std::string_view word); // blanks or a line end

// Gives equal words equal numbers; the views must outlive it.
class WordNumbers {
  public:
    std::vector<std::uint32_t> of(const std::vector<std::string_view>& words);

  private:
    std::unordered_map<std::string_view, std::uint32_t> m_numbers;
};

// Every run of digits as one 0, every run of white space as one blank, none at the ends: what differs only so is alike.
std::string masked(std::string_view text);
// As the user sees it: without the blanks at the ends of lines and the empty lines at both ends of the text.
std::string evened(std::string_view text);
// Without any white space.
std::string squeezed(std::string_view text);
std::uint64_t sumOf(std::string_view text,
                    std::uint64_t seed = 14695981039346656037u); // FNV-1a, the same on every machine

} // namespace espalier
