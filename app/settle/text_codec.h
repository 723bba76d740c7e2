// SPDX-License-Identifier: MIT
//
// Bytes of a file as lines that an editor can hold, and back without losing a byte. UTF-8 is shown as such; a file that
// is not UTF-8 is shown byte for byte as 8-bit characters. Characters that an editor would swallow or obey (carriage
// returns inside a line, NUL, separators, direction overrides) stand as visible symbols while they are edited.
//
//     TextCodec codec = TextCodec::forTexts({ancestor, newBase, commit});
//     TextLines lines = codec.split(newBase);
//     codec.join(lines.lines, lines.endsWithNewline) == newBase;
#pragma once

#include <QString>
#include <QStringList>

#include <initializer_list>
#include <string>
#include <string_view>

namespace espalier {

struct TextLines {
    QStringList lines;           // without their ends
    bool endsWithNewline = true; // of the last line; true for an empty text
};

class TextCodec {
  public:
    // One codec for all sides of a conflict, so that equal bytes look equal.
    static TextCodec forTexts(std::initializer_list<std::string_view> texts);

    bool isUtf8() const { return m_utf8; }
    // Every line end of every text is CR LF; else carriage returns are shown as symbols.
    bool isCrlf() const { return m_crlf; }

    // Text from elsewhere (a paste), with the same stand-ins; line ends become '\n'.
    static QString shown(QString text);
    QString decodeLine(std::string_view line) const;
    // Characters that the file's encoding lacks (typed into an 8-bit file) are written as UTF-8.
    std::string encodeLine(QStringView line) const;
    TextLines split(std::string_view text) const;
    std::string join(const QStringList& lines, bool endsWithNewline) const;

  private:
    bool m_utf8 = true;
    bool m_crlf = false;
};

} // namespace espalier
