// SPDX-License-Identifier: MIT
//
// The sum over a patch's lines that git-patch-id(1) describes, with --stable: a SHA-1 a file over the lines without white
// space, line numbers and object ids left out, the files' sums added up. Kept to git's behaviour line for line, its
// quirks with files that have no hunks included, so that the ids are those that `git patch-id --stable` prints for
// `git diff-tree --patch --full-index`. Private to core/history.
#pragma once

#include "core/git/sha1.h"

#include <cstdint>
#include <string>
#include <string_view>

namespace espalier {

class PatchIdSum {
  public:
    // One file: the lines above its hunks, as in the patch, paths quoted as git quotes them.
    void beginFile(std::string_view diffLine);                   // "diff --git a/x b/x"
    void headerLine(std::string_view line);                      // a mode line, "--- a/x", "+++ b/x"
    void binary(std::string_view oldId, std::string_view newId); // forty digits each
    void hunkLine(char sign, std::string_view text);             // ' ', '+' or '-'
    Oid finish();

  private:
    void addWithoutSpace(std::string_view line);
    void flush();

    Sha1 m_file;
    Oid m_sum;
    enum { Header, Hunks, AfterBinary } m_state = Header;
};

// A path as git shows it in a patch with core.quotePath at its default: with odd bytes quoted in C's manner.
std::string quotedPath(std::string_view prefix, std::string_view path);

} // namespace espalier
