// SPDX-License-Identifier: MIT
#include "core/settle/file_form.h"

#include "core/git/text.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::string_view mark = "\xEF\xBB\xBF";

std::string fromLatin1(std::string_view text)
{
    std::string utf8;
    utf8.reserve(text.size() + text.size() / 8);
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x80) {
            utf8 += c;
            continue;
        }
        utf8 += char(0xC0 | byte >> 6);
        utf8 += char(0x80 | (byte & 0x3F));
    }
    return utf8;
}

// `utf8` is well-formed. Nothing where it has a character above U+00FF.
std::optional<std::string> toLatin1(std::string_view utf8)
{
    std::string text;
    text.reserve(utf8.size());
    for (std::size_t i = 0; i < utf8.size(); ++i) {
        const auto byte = static_cast<unsigned char>(utf8[i]);
        if (byte < 0x80) {
            text += utf8[i];
        } else if (byte <= 0xC3 && i + 1 < utf8.size()) {
            text += char((byte & 0x03) << 6 | (static_cast<unsigned char>(utf8[++i]) & 0x3F));
        } else {
            return std::nullopt;
        }
    }
    return text;
}

std::string withLineEnds(std::string_view text, bool crLf)
{
    std::string out;
    out.reserve(text.size() + (crLf ? text.size() / 16 : 0));
    for (std::size_t i = 0; i < text.size(); ++i) {
        const bool ends = text[i] == '\n' || (text[i] == '\r' && i + 1 < text.size() && text[i + 1] == '\n');
        if (!ends) {
            out += text[i];
            continue;
        }
        i += text[i] == '\r';
        out += crLf ? "\r\n" : "\n";
    }
    return out;
}

} // namespace

std::string_view lineEndsName(LineEnds ends)
{
    switch (ends) {
    case LineEnds::Lf:
        return "LF";
    case LineEnds::CrLf:
        return "CR LF";
    case LineEnds::Mixed:
        return "mixed line ends";
    default:
        return "no line ends";
    }
}

std::string_view encodingName(Encoding encoding)
{
    switch (encoding) {
    case Encoding::Utf8:
        return "UTF-8";
    case Encoding::Utf8Mark:
        return "UTF-8 with a byte order mark";
    case Encoding::Latin1:
        return "ISO 8859-1";
    default:
        return "ASCII";
    }
}

TextForm formOf(std::string_view text)
{
    TextForm form;
    std::size_t all = 0, crLf = 0;
    for (std::size_t at = text.find('\n'); at != std::string_view::npos; at = text.find('\n', at + 1)) {
        ++all;
        crLf += at > 0 && text[at - 1] == '\r';
    }
    if (all > 0)
        form.lineEnds = crLf == 0 ? LineEnds::Lf : crLf == all ? LineEnds::CrLf : LineEnds::Mixed;
    if (!isUtf8(text))
        form.encoding = Encoding::Latin1;
    else if (text.starts_with(mark))
        form.encoding = Encoding::Utf8Mark;
    else if (std::ranges::any_of(text, [](char c) { return static_cast<unsigned char>(c) >= 0x80; }))
        form.encoding = Encoding::Utf8;
    return form;
}

std::optional<std::string> inForm(std::string_view text, const FileForm& form)
{
    std::string out(text);
    if (form.encoding && *form.encoding != Encoding::Ascii) {
        const bool utf8 = isUtf8(text);
        if (*form.encoding == Encoding::Latin1) {
            if (utf8 && text.starts_with(mark))
                out.erase(0, mark.size());
            auto latin1 = utf8 ? toLatin1(out) : std::optional(out);
            if (!latin1)
                return std::nullopt;
            out = std::move(*latin1);
        } else {
            if (!utf8)
                out = fromLatin1(out);
            const bool marked = out.starts_with(mark);
            if (*form.encoding == Encoding::Utf8 && marked)
                out.erase(0, mark.size());
            if (*form.encoding == Encoding::Utf8Mark && !marked && !out.empty())
                out.insert(0, mark);
        }
    }
    if (form.lineEnds == LineEnds::Lf || form.lineEnds == LineEnds::CrLf)
        out = withLineEnds(out, form.lineEnds == LineEnds::CrLf);
    return out;
}

std::optional<ConflictTexts> inForm(const ConflictTexts& texts, const FileForm& form)
{
    if (!form.lineEnds && !form.encoding)
        return texts;
    ConflictTexts all;
    for (const auto side : {&ConflictTexts::ancestor, &ConflictTexts::newBase, &ConflictTexts::commit}) {
        auto text = inForm(*(texts.*side), form);
        if (!text)
            return std::nullopt;
        all.*side = std::make_shared<const std::string>(std::move(*text));
    }
    all.merge = std::make_shared<const TextMerge>(mergeTexts(*all.ancestor, *all.newBase, *all.commit));
    return all;
}

bool lineEndsDiffer(const TextForm& a, const TextForm& b)
{
    return a.lineEnds != b.lineEnds && a.lineEnds != LineEnds::None && b.lineEnds != LineEnds::None;
}

bool encodingsDiffer(const TextForm& a, const TextForm& b)
{
    if (a.encoding == b.encoding)
        return false;
    // ASCII is written the same in all but the one with a mark.
    const auto marked = [](const TextForm& form) { return form.encoding == Encoding::Utf8Mark; };
    const auto plain = [](const TextForm& form) { return form.encoding == Encoding::Ascii; };
    return marked(a) || marked(b) || (!plain(a) && !plain(b));
}

} // namespace espalier
