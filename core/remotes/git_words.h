// SPDX-License-Identifier: MIT
//
// What git says on its standard error while it talks to a remote: progress, the other side's words, its own. Private to
// core/remotes.
//
//     GitWords words(progress);
//     auto ended = runGit(request, [&](std::string_view bytes) { words.hear(bytes); });
//     return explain("The fetch failed", address, words);
#pragma once

#include "core/git/error.h"
#include "core/git/progress.h"

#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

class GitWords {
  public:
    explicit GitWords(const Progress& progress) : m_progress(&progress) {}
    // Every line passes through it before it is kept, to take secrets out.
    void cleanWith(std::function<std::string(std::string)> clean) { m_clean = std::move(clean); }
    // Bytes as they come.
    void hear(std::string_view bytes);
    // What git, ssh or a helper said, without progress, hints and what follows from the rest; not made safe to show.
    std::vector<std::string> own() const;
    // What the other side said; not made safe to show.
    const std::vector<std::string>& others() const { return m_others; }
    bool has(std::string_view text) const;
    bool hasOwn(std::string_view text) const; // not said by the other side

  private:
    void line(std::string_view text);
    const Progress* m_progress; // outlives it
    std::function<std::string(std::string)> m_clean;
    std::string m_rest;
    std::vector<std::string> m_own, m_others;
    std::size_t m_size = 0;
};

// In one line why git failed, as far as its words tell, and what can be done. `address` without secrets.
Error explain(const std::string& what, const std::string& address, const GitWords& words);

// The lock file of git's that `words` say is in the way ("Unable to create '….lock': File exists"). Empty when there is none, or
// it is on another machine.
std::filesystem::path lockInTheWay(const GitWords& words);

// Lines that are safe to show.
std::vector<std::string> shownLines(const std::vector<std::string>& lines);

} // namespace espalier
