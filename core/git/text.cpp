// SPDX-License-Identifier: MIT
#include "core/git/text.h"

#include "core/git/error.h"

#include <cstdint>
#include <cstdio>

namespace espalier {

namespace {

// Length of the well-formed UTF-8 sequence at the start of `s` and its code point; 0 when there is none.
std::size_t decode(std::string_view s, char32_t& point)
{
    const auto at = [&](std::size_t i) { return static_cast<unsigned char>(s[i]); };
    const auto tail = [&](std::size_t i) { return i < s.size() && (at(i) & 0xC0) == 0x80; };
    const unsigned char lead = at(0);
    if (lead < 0x80) {
        point = lead;
        return 1;
    }
    if (lead >= 0xC2 && lead <= 0xDF && tail(1)) {
        point = char32_t((lead & 0x1F) << 6 | (at(1) & 0x3F));
        return 2;
    }
    if (lead >= 0xE0 && lead <= 0xEF && tail(1) && tail(2)) {
        point = char32_t((lead & 0x0F) << 12 | (at(1) & 0x3F) << 6 | (at(2) & 0x3F));
        return point < 0x800 || (point >= 0xD800 && point <= 0xDFFF) ? 0 : 3;
    }
    if (lead >= 0xF0 && lead <= 0xF4 && tail(1) && tail(2) && tail(3)) {
        point = char32_t((lead & 0x07) << 18 | (at(1) & 0x3F) << 12 | (at(2) & 0x3F) << 6 | (at(3) & 0x3F));
        return point < 0x10000 || point > 0x10FFFF ? 0 : 4;
    }
    return 0;
}

// Characters that change how the text around them is laid out, or that hide (Unicode's bidirectional and invisible
// formatting controls, UAX #9 and general category Cf, as far as they are used to deceive).
bool deceives(char32_t c)
{
    return c < 0x20 || (c >= 0x7F && c < 0xA0) || c == 0xAD || c == 0x61C || (c >= 0x200B && c <= 0x200F) ||
           (c >= 0x2028 && c <= 0x202E) || (c >= 0x2060 && c <= 0x206F) || c == 0xFEFF ||
           (c >= 0xFFF9 && c <= 0xFFFB) || (c >= 0xE0000 && c <= 0xE007F);
}

} // namespace

std::string displayText(std::string_view bytes, std::size_t limit)
{
    std::string out;
    char buffer[16];
    while (!bytes.empty()) {
        char32_t point = 0;
        std::size_t length = decode(bytes, point);
        if (length == 0) {
            std::snprintf(buffer, sizeof buffer, "\\x%02X", static_cast<unsigned char>(bytes[0]));
            out += buffer;
            length = 1;
        } else if (point == '\t') {
            out += ' ';
        } else if (deceives(point)) {
            std::snprintf(buffer, sizeof buffer, point < 0x100 ? "\\x%02X" : "\\u%04X", unsigned(point));
            out += buffer;
        } else {
            out.append(bytes.substr(0, length));
        }
        bytes.remove_prefix(length);
        if (out.size() > limit) {
            constexpr std::string_view mark = "…";
            std::size_t cut = limit < mark.size() ? 0 : limit - mark.size();
            while (cut > 0 && (static_cast<unsigned char>(out[cut]) & 0xC0) == 0x80)
                --cut;
            out.resize(cut);
            return limit < mark.size() ? out : out.append(mark);
        }
    }
    return out;
}

std::string escapePath(std::string_view bytes)
{
    std::string out;
    char buffer[8];
    while (!bytes.empty()) {
        char32_t point = 0;
        std::size_t length = decode(bytes, point);
        if (length == 0) {
            std::snprintf(buffer, sizeof buffer, "\\x%02x", static_cast<unsigned char>(bytes[0]));
            out += buffer;
            length = 1;
        } else {
            out.append(bytes.substr(0, length));
        }
        bytes.remove_prefix(length);
    }
    return out;
}

bool isUtf8(std::string_view bytes)
{
    while (!bytes.empty()) {
        char32_t point = 0;
        const std::size_t length = decode(bytes, point);
        if (length == 0)
            return false;
        bytes.remove_prefix(length);
    }
    return true;
}

std::string subjectOf(std::string_view message)
{
    std::string subject;
    while (!message.empty()) {
        const std::size_t end = message.find('\n');
        std::string_view line = message.substr(0, end);
        message.remove_prefix(end == std::string_view::npos ? message.size() : end + 1);
        while (!line.empty() && (line.back() == ' ' || line.back() == '\t' || line.back() == '\r'))
            line.remove_suffix(1);
        if (line.empty()) {
            if (!subject.empty())
                break;
            continue;
        }
        if (!subject.empty())
            subject += ' ';
        subject += line;
    }
    return subject;
}

std::string counted(std::size_t number, std::string_view singular, std::string_view plural)
{
    return std::to_string(number) + ' ' + std::string(number == 1 ? singular : plural);
}

std::string Error::line() const
{
    std::string text = displayText(what);
    if (!on.empty())
        text += " (" + displayText(on) + ")";
    text += '.';
    if (!remedy.empty())
        text += ' ' + displayText(remedy) + '.';
    return text;
}

} // namespace espalier
