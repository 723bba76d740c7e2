// SPDX-License-Identifier: MIT
//
// What of a text is the same for all its lines: how they end, how they are encoded. Where the sides of a conflict differ
// in it, every line differs, and one answer for the file leaves only what they truly changed to be asked.
//
//     const TextForm form = formOf(bytes);                         // {LineEnds::CrLf, Encoding::Utf8}
//     FileForm chosen{.lineEnds = LineEnds::Lf};
//     std::optional<std::string> same = inForm(bytes, chosen);     // nothing where it cannot be written so
#pragma once

#include "core/merge/tree_merge.h"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace espalier {

enum class LineEnds : std::uint8_t { None, Lf, CrLf, Mixed };
enum class Encoding : std::uint8_t {
    Ascii,
    Utf8,
    Utf8Mark, // with a byte order mark
    Latin1,   // bytes that are no UTF-8 are taken for ISO 8859-1
};
// "LF", "CR LF", "mixed line ends"; "ASCII", "UTF-8", "UTF-8 with a byte order mark", "ISO 8859-1".
std::string_view lineEndsName(LineEnds ends);
std::string_view encodingName(Encoding encoding);

struct TextForm {
    LineEnds lineEnds = LineEnds::None;
    Encoding encoding = Encoding::Ascii;
    friend bool operator==(const TextForm&, const TextForm&) = default;
};
TextForm formOf(std::string_view text);

// What the user has settled for a whole file; what is not set stays as each side has it. Of `lineEnds` only Lf and CrLf, of
// `encoding` all but Ascii, of `mode` the two kinds of files mean something.
struct FileForm {
    std::optional<LineEnds> lineEnds = {};
    std::optional<Encoding> encoding = {};
    std::optional<FileMode> mode = {};
    bool any() const { return lineEnds || encoding || mode; }
    friend bool operator==(const FileForm&, const FileForm&) = default;
};

// The text so. Its lines stay as many as they are: a carriage return by itself is none of its line ends. Nothing where it
// holds a character that the encoding has not.
std::optional<std::string> inForm(std::string_view text, const FileForm& form);
// The same for the three texts of a conflict, merged anew where they become others.
std::optional<ConflictTexts> inForm(const ConflictTexts& texts, const FileForm& form);

// What two sides of a text differ in, for all lines. An empty side, one of a single line without an end, and ASCII beside a
// larger encoding differ in nothing.
bool lineEndsDiffer(const TextForm& a, const TextForm& b);
bool encodingsDiffer(const TextForm& a, const TextForm& b);

} // namespace espalier
