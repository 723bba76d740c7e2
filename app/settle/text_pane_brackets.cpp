// SPDX-License-Identifier: MIT
//
// Which bracket belongs to the one at the cursor. Those in comments and texts of the language do not count, as far as the
// highlighter knows it.
#include "app/settle/code_highlighter.h"
#include "app/settle/text_pane.h"

#include <QTextBlock>

#include <algorithm>

namespace espalier {

namespace {

constexpr int furthest = 40'000; // characters: what is further away is not on the screen anyway
constexpr int quoteCost = 20;    // what it takes to ask whether one is quoted, in characters looked at
const QString openers = QStringLiteral("([{"), closers = QStringLiteral(")]}");

bool isQuoted(const QTextBlock& block, int at)
{
    const auto formats = block.layout()->formats();
    return std::ranges::any_of(formats, [&](const QTextLayout::FormatRange& range) {
        return at >= range.start && at < range.start + range.length && CodeHighlighter::isQuoted(range.format);
    });
}

} // namespace

void TextPane::findBrackets()
{
    if (m_replacing)
        return;
    std::vector<int> found;
    const QTextCursor cursor = textCursor();
    const QTextBlock home = cursor.block();
    const QString line = home.text();
    // The one behind the cursor, else the one before it.
    for (const int column : {cursor.positionInBlock(), cursor.positionInBlock() - 1}) {
        if (cursor.hasSelection() || column < 0 || column >= line.size() || isQuoted(home, column))
            continue;
        const bool opens = openers.contains(line[column]);
        if (!opens && !closers.contains(line[column]))
            continue;
        const QChar own = line[column];
        const QChar other = opens ? closers[openers.indexOf(own)] : openers[closers.indexOf(own)];
        int depth = 0, left = furthest;
        QTextBlock block = home;
        int at = column;
        while (block.isValid() && left > 0 && found.empty()) {
            const QString text = block.text();
            if (block != home)
                at = opens ? 0 : int(text.size()) - 1;
            for (; at >= 0 && at < text.size() && left > 0; opens ? ++at : --at, --left) {
                if (text[at] != own && text[at] != other)
                    continue;
                left -= quoteCost;
                if (isQuoted(block, at))
                    continue;
                depth += text[at] == own ? 1 : -1;
                if (depth == 0) {
                    found = {home.position() + column, block.position() + at};
                    break;
                }
            }
            --left;
            block = opens ? block.next() : block.previous();
        }
        break;
    }
    if (found == m_brackets)
        return;
    m_brackets = std::move(found);
    viewport()->update();
}

} // namespace espalier
