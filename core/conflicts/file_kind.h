// SPDX-License-Identifier: MIT
//
// What kind of file it is that is no text, by how its bytes begin: two versions of it can then be told from each other by more than
// their bytes. Nobody's name for it is trusted.
//
//     FileKind kind = fileKind(bytes);
//     kind.words;                // "a PNG image"; empty when it is not known
//     textOfUtf16(bytes);        // what stands in a file in UTF-16, as UTF-8
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace espalier {

struct FileKind {
    std::string_view words; // with its article
    bool image = false;     // one that can be drawn
};
// Sources: the formats' own documents, of which each says its first bytes.
FileKind fileKind(std::string_view bytes);

// Nothing unless the text begins with a byte order mark and every unit of it is in order.
std::optional<std::string> textOfUtf16(std::string_view bytes);

} // namespace espalier
