// SPDX-License-Identifier: MIT
#include "app/settle/text_codec.h"

#include "core/git/text.h"

#include <algorithm>
#include <array>

namespace espalier {

namespace {

struct Stand {
    char16_t real;
    char16_t shown;
};
// What the editor's document would take for a line end or drop, and what would reorder the text on screen. The symbols
// are Unicode's control pictures where there is one, else characters of the private use area, which fonts show as boxes.
constexpr std::array stands{
    Stand{u'\0', u'\u2400'},     Stand{u'\r', u'\u240D'},     Stand{u'\v', u'\u240B'},     Stand{u'\f', u'\u240C'},
    Stand{u'\x1b', u'\u241B'},   Stand{u'\u2028', u'\uF028'}, Stand{u'\u2029', u'\uF029'}, Stand{u'\u202A', u'\uF02A'},
    Stand{u'\u202B', u'\uF02B'}, Stand{u'\u202C', u'\uF02C'}, Stand{u'\u202D', u'\uF02D'}, Stand{u'\u202E', u'\uF02E'},
    Stand{u'\u2066', u'\uF066'}, Stand{u'\u2067', u'\uF067'}, Stand{u'\u2068', u'\uF068'}, Stand{u'\u2069', u'\uF069'},
    Stand{u'\uFDD0', u'\uF0D0'}, Stand{u'\uFDD1', u'\uF0D1'}, Stand{u'\uFFFC', u'\uF0FC'}, Stand{u'\uFEFF', u'\uF0FE'},
};

char16_t shownFor(char16_t real)
{
    // Nearly every character passes the first test.
    if (real >= u' ' && real < u'\u2028')
        return real;
    const auto* found = std::ranges::find(stands, real, &Stand::real);
    return found == stands.end() ? real : found->shown;
}

char16_t realFor(char16_t shown)
{
    if (shown < u'\u2400')
        return shown;
    const auto* found = std::ranges::find(stands, shown, &Stand::shown);
    return found == stands.end() ? shown : found->real;
}

// A symbol that the file itself contains could not be told from a stand-in.
bool containsStandIn(std::string_view utf8)
{
    const bool suspicious =
        utf8.find("\xE2\x90") != std::string_view::npos || utf8.find("\xEF\x80") != std::string_view::npos ||
        utf8.find("\xEF\x81") != std::string_view::npos || utf8.find("\xEF\x83") != std::string_view::npos;
    if (!suspicious)
        return false;
    const QString text = QString::fromUtf8(utf8.data(), qsizetype(utf8.size()));
    return std::ranges::any_of(text, [](QChar c) { return realFor(c.unicode()) != c.unicode(); });
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
    codec.m_utf8 = std::ranges::all_of(
        texts, [](std::string_view text) { return espalier::isUtf8(text) && !containsStandIn(text); });
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

QString TextCodec::decodeLine(std::string_view line) const
{
    QString text = m_utf8 ? QString::fromUtf8(line.data(), qsizetype(line.size()))
                          : QString::fromLatin1(line.data(), qsizetype(line.size()));
    // fromUtf8() drops a leading byte order mark.
    if (m_utf8 && line.starts_with("\xEF\xBB\xBF"))
        text.prepend(QChar(u'\uFEFF'));
    for (QChar& c : text)
        if (const char16_t symbol = shownFor(c.unicode()); symbol != c.unicode())
            c = QChar(symbol);
    return text;
}

std::string TextCodec::encodeLine(QStringView line) const
{
    QString real = line.toString();
    for (QChar& c : real)
        if (const char16_t meant = realFor(c.unicode()); meant != c.unicode())
            c = QChar(meant);
    if (m_utf8)
        return real.toStdString();
    std::string bytes;
    bytes.reserve(std::size_t(real.size()));
    for (qsizetype i = 0; i < real.size(); ++i) {
        const char16_t unit = real.at(i).unicode();
        if (unit <= 0xFF) {
            bytes += char(unit);
            continue;
        }
        const qsizetype length = real.at(i).isHighSurrogate() && i + 1 < real.size() ? 2 : 1;
        bytes += real.mid(i, length).toStdString();
        i += length - 1;
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
