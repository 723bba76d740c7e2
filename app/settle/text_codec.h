// SPDX-License-Identifier: MIT
//
// Bytes of a file as lines that an editor can hold, and back without losing a byte. What an editor would swallow or obey
// (bytes that are no text, carriage returns inside a line, NUL, separators, direction overrides) stands there as a
// stand-in: a lone low surrogate, which no text can contain, so that every character that is typed or that a file holds is
// itself. TextPane draws a symbol in a stand-in's place.
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
    // One codec for all sides of a conflict, so that equal bytes look equal. Texts that are not UTF-8 and hold nothing
    // that could be are shown as 8-bit characters (ISO 8859-1); else single bytes that are no UTF-8 get stand-ins.
    static TextCodec forTexts(std::initializer_list<std::string_view> texts);

    bool isUtf8() const { return m_utf8; }
    // Every line end of every text is CR LF; else carriage returns get stand-ins.
    bool isCrlf() const { return m_crlf; }

    // Text from elsewhere (typed, pasted), with stand-ins for what needs them; line ends become '\n'.
    static QString shown(QString text);
    // The way back, for the clipboard; stand-ins for bytes become U+FFFD.
    static QString real(const QString& text);
    // Not the second half of a character beyond the first plane.
    static bool isStandIn(QStringView text, qsizetype at);
    // What is drawn for a stand-in: a control picture, or the byte or code point in hexadecimal digits.
    static QString symbolOf(QChar standIn);

    QString decodeLine(std::string_view line) const;
    // Written as UTF-8; in an 8-bit file the characters up to U+00FF as their bytes.
    std::string encodeLine(QStringView line) const;
    TextLines split(std::string_view text) const;
    std::string join(const QStringList& lines, bool endsWithNewline) const;

  private:
    bool m_utf8 = true;
    bool m_crlf = false;
};

} // namespace espalier
