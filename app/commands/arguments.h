// SPDX-License-Identifier: MIT
//
// A command line taken apart: words, options with a value, flags. Private to app/commands.
#pragma once

#include "core/git/error.h"

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace espalier {

struct CommandShape {
    std::string name;
    std::vector<std::string> words; // what its words are called, e.g. {"PATH", "ENTRY"}
    std::set<std::string> values;   // options with a value, without dashes
    std::set<std::string> flags;    // options without
    std::string summary;
};

class Arguments {
  public:
    // Errors: Usage, naming the word that was not understood.
    static Result<Arguments> parse(const CommandShape& shape, const std::vector<std::string>& given);

    const std::string& word(std::size_t index) const { return m_words[index]; }
    std::size_t words() const { return m_words.size(); }
    bool has(const std::string& flag) const { return m_flags.contains(flag); }
    std::optional<std::string> value(const std::string& option) const;
    // Errors: Usage when it is missing.
    Result<std::string> required(const std::string& option) const;

  private:
    std::string m_name;
    std::vector<std::string> m_words;
    std::map<std::string, std::string> m_values;
    std::set<std::string> m_flags;
};

} // namespace espalier
