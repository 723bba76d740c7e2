// SPDX-License-Identifier: MIT
#include "app/settle/text_codec.h"

#include "core/git/text.h"

#include <algorithm>
#include <array>

namespace espalier {

namespace {

// Low surrogates: one for each byte, then one for each character that needs one.
constexpr char16_t firstByte = 0xDC00, firstCharacter = 0xDD00;
constexpr char16_t behindC1 = 0xA0;
// What the editor's document would take for a line end or an end of its own, or drop, and what would reorder the text on
// screen; control characters come before them.
constexpr std::array<char16_t, 17> special{0x2028, 0x2029, 0x202A, 0x202B, 0x202C, 0x202D, 0x202E, 0x2066, 0x2067,
                                           0x2068, 0x2069, 0xFDD0, 0xFDD1, 0xFEFF, 0xFFFC, 0xFFFE, 0xFFFF};

char16_t shownFor(char16_t c)
{
    // Nearly every character passes the first test.
    if ((c >= u' ' && c < 0x7F) || c == u'\t' || (c >= behindC1 && c < special.front()))
        return c;
    if (c < behindC1)
        return char16_t(firstCharacter + c);
    const auto* found = std::ranges::find(special, c);
    return found == special.end() ? c : char16_t(firstCharacter + behindC1 + (found - special.begin()));
}

// The character that a stand-in is for; 0xFFFF'FFFF when it is for a byte, or none.
constexpr char32_t noCharacter = 0xFFFF'FFFF;
char32_t characterOf(char16_t standIn)
{
    if (standIn < firstCharacter || standIn >= firstCharacter + behindC1 + special.size())
        return noCharacter;
    const unsigned index = standIn - firstCharacter;
    return index < behindC1 ? index : special[index - behindC1];
}

// Length of the character at the start, which is not empty; 0 when there is none.
std::size_t characterLength(std::string_view bytes)
{
    for (std::size_t length = 1; length <= std::min<std::size_t>(4, bytes.size()); ++length)
        if (espalier::isUtf8(bytes.substr(0, length)))
            return length;
    return 0;
}

bool holdsUtf8(std::string_view bytes)
{
    while (!bytes.empty()) {
        const std::size_t length = characterLength(bytes);
        if (length > 1)
            return true;
        bytes.remove_prefix(1);
    }
    return false;
}

QString fromUtf8(std::string_view bytes)
{
    QString text = QString::fromUtf8(bytes.data(), qsizetype(bytes.size()));
    // It drops a leading byte order mark.
    if (bytes.starts_with("\xEF\xBB\xBF"))
        text.prepend(QChar(u'\uFEFF'));
    for (QChar& c : text)
        if (const char16_t standIn = shownFor(c.unicode()); standIn != c.unicode())
            c = QChar(standIn);
    return text;
}

bool allCrlf(std::string_view text, bool& any)
{
    for (std::size_t at = text.find('\n'); at != std::string_view::npos; at = text.find('\n', at + 1)) {
        if (at == 0 || text[at - 1] != '\r')
            return false;
        any = true;
    }
    return true;
}

} // namespace

TextCodec TextCodec::forTexts(std::initializer_list<std::string_view> texts)
{
    TextCodec codec;
    bool any = false;
    codec.m_crlf = std::ranges::all_of(texts, [&](std::string_view text) { return allCrlf(text, any); }) && any;
    codec.m_utf8 = std::ranges::all_of(texts, espalier::isUtf8) || std::ranges::any_of(texts, holdsUtf8);
    return codec;
}

QString TextCodec::shown(QString text)
{
    text.replace(QLatin1String("\r\n"), QLatin1String("\n"));
    for (QChar& c : text)
        if (c != QLatin1Char('\n'))
            c = QChar(shownFor(c.unicode()));
    return text;
}

QString TextCodec::real(const QString& text)
{
    QString meant = text;
    for (qsizetype i = 0; i < text.size(); ++i)
        if (isStandIn(text, i)) {
            const char32_t character = characterOf(text.at(i).unicode());
            meant[i] = character == noCharacter ? QChar(QChar::ReplacementCharacter) : QChar(char16_t(character));
        }
    return meant;
}

bool TextCodec::isStandIn(QStringView text, qsizetype at)
{
    const QChar c = text.at(at);
    if (at > 0 && text.at(at - 1).isHighSurrogate())
        return false;
    return c.unicode() >= firstByte && c.unicode() < firstCharacter + behindC1 + special.size();
}

QString TextCodec::symbolOf(QChar standIn)
{
    const char32_t character = characterOf(standIn.unicode());
    if (character < 0x20)
        return QChar(char16_t(0x2400 + character));
    if (character == 0x7F)
        return QChar(u'\u2421');
    const unsigned number = character == noCharacter ? standIn.unicode() - firstByte : unsigned(character);
    return QStringLiteral("%1").arg(number, 2, 16, QLatin1Char('0')).toUpper();
}

QString TextCodec::decodeLine(std::string_view line) const
{
    if (!m_utf8) {
        QString text = QString::fromLatin1(line.data(), qsizetype(line.size()));
        for (QChar& c : text)
            c = QChar(shownFor(c.unicode()));
        return text;
    }
    if (espalier::isUtf8(line))
        return fromUtf8(line);
    QString text;
    while (!line.empty()) {
        const std::size_t length = characterLength(line);
        if (length == 0)
            text += QChar(char16_t(firstByte + static_cast<unsigned char>(line.front())));
        else
            text += fromUtf8(line.substr(0, length));
        line.remove_prefix(std::max<std::size_t>(length, 1));
    }
    return text;
}

std::string TextCodec::encodeLine(QStringView line) const
{
    std::string bytes;
    bytes.reserve(std::size_t(line.size()));
    for (qsizetype i = 0; i < line.size();) {
        const QChar c = line.at(i);
        const bool pair = c.isHighSurrogate() && i + 1 < line.size() && line.at(i + 1).isLowSurrogate();
        const char32_t character = characterOf(c.unicode());
        const char32_t one = character == noCharacter ? c.unicode() : character;
        if (one < 0x80 || (!m_utf8 && one <= 0xFF))
            bytes += char(one);
        else if (character != noCharacter)
            bytes += QString(QChar(char16_t(character))).toStdString();
        else if (isStandIn(line, i))
            bytes += char(c.unicode() - firstByte);
        else
            bytes += line.mid(i, pair ? 2 : 1).toString().toStdString();
        i += pair ? 2 : 1;
    }
    return bytes;
}

TextLines TextCodec::split(std::string_view text) const
{
    TextLines result;
    while (!text.empty()) {
        const std::size_t end = text.find('\n');
        std::string_view line = text.substr(0, end);
        if (end == std::string_view::npos) {
            result.endsWithNewline = false;
            text = {};
        } else {
            text.remove_prefix(end + 1);
            if (m_crlf && line.ends_with('\r'))
                line.remove_suffix(1);
        }
        result.lines.append(decodeLine(line));
    }
    return result;
}

std::string TextCodec::join(const QStringList& lines, bool endsWithNewline) const
{
    std::string text;
    for (qsizetype i = 0; i < lines.size(); ++i) {
        text += encodeLine(lines.at(i));
        if (i + 1 < lines.size() || endsWithNewline)
            text += m_crlf ? "\r\n" : "\n";
    }
    return text;
}

} // namespace espalier
