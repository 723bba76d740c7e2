// SPDX-License-Identifier: MIT
#include "app/session/readable.h"

#include "core/git/text.h"

#include <QJsonDocument>
#include <QXmlStreamReader>

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostBytes = std::size_t(8) << 20;
constexpr int mostDepth = 1000; // as QJsonDocument's own bound

struct Trouble {
    int line = 0; // from 0
    std::string words;
};
using Reader = std::optional<Trouble> (*)(std::string_view text);

QByteArray viewed(std::string_view text) { return QByteArray::fromRawData(text.data(), qsizetype(text.size())); }

std::optional<Trouble> readJson(std::string_view text)
{
    QJsonParseError error;
    QJsonDocument::fromJson(viewed(text), &error);
    if (error.error == QJsonParseError::NoError)
        return std::nullopt;
    const auto before = text.substr(0, std::min(std::size_t(std::max(0, error.offset)), text.size()));
    // At the end of the text: the last line that there is.
    const int last = int(std::ranges::count(text, '\n')) - int(text.ends_with('\n'));
    return Trouble{std::clamp(int(std::ranges::count(before, '\n')), 0, std::max(0, last)),
                   error.errorString().toStdString()};
}

// Entities that the text itself declares are expanded up to the reader's own limit; those from elsewhere never.
std::optional<Trouble> readXml(std::string_view text)
{
    QXmlStreamReader reader(viewed(text));
    int depth = 0;
    while (!reader.atEnd()) {
        const auto token = reader.readNext();
        depth += token == QXmlStreamReader::StartElement ? 1 : token == QXmlStreamReader::EndElement ? -1 : 0;
        if (depth > mostDepth)
            return Trouble{int(reader.lineNumber()) - 1, "it is nested too deep"};
    }
    if (!reader.hasError())
        return std::nullopt;
    return Trouble{std::max(0, int(reader.lineNumber()) - 1), reader.errorString().toStdString()};
}

// By what it begins with: names say less than the sides' being readable.
std::pair<const char*, Reader> readerFor(std::string_view text)
{
    if (text.starts_with("\xEF\xBB\xBF"))
        text.remove_prefix(3);
    const std::size_t at = text.find_first_not_of(" \t\r\n");
    const char first = at == std::string_view::npos ? '\0' : text[at];
    if (first == '{' || first == '[')
        return {"JSON", readJson};
    return {"XML", first == '<' ? readXml : nullptr};
}

} // namespace

std::vector<Remark> unreadableRemarks(const JudgedTexts& texts)
{
    const char* name = nullptr;
    Reader reader = nullptr;
    if (texts.settled.size() > mostBytes)
        return {};
    for (const auto& side : {texts.newBase, texts.commit, texts.ancestor}) {
        if (!side)
            continue;
        const auto [itsName, its] = readerFor(*side);
        if (!its || (reader && reader != its) || side->size() > mostBytes)
            return {};
        name = itsName;
        reader = its;
    }
    const std::optional<Trouble> trouble = reader ? reader(texts.settled) : std::nullopt;
    if (!trouble)
        return {};
    // Now that it matters.
    for (const auto& side : {texts.newBase, texts.commit, texts.ancestor})
        if (side && reader(*side))
            return {};
    return {{Remark::Unreadable, trouble->line,
             std::string("it can no longer be read as ") + name + ": " + displayText(trouble->words, 120)}};
}

} // namespace espalier
