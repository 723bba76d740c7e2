// SPDX-License-Identifier: MIT
#include "app/history/changed_words.h"

#include <QChar>

#include <algorithm>

namespace espalier {

namespace {
bool isWord(QChar c) { return c.isLetterOrNumber() || c == QLatin1Char('_') || c.isSurrogate() || c.isMark(); }
// Whether a cut before `at` would go through a word.
bool splits(QStringView text, qsizetype at)
{
    return at > 0 && at < text.size() && isWord(text[at - 1]) && isWord(text[at]);
}
} // namespace

WordSpans changedWords(QStringView before, QStringView after)
{
    const qsizetype shorter = std::min(before.size(), after.size());
    qsizetype head = 0, tail = 0;
    while (head < shorter && before[head] == after[head])
        ++head;
    while (head > 0 && (splits(before, head) || splits(after, head)))
        --head;
    while (tail < shorter - head && before[before.size() - 1 - tail] == after[after.size() - 1 - tail])
        ++tail;
    while (tail > 0 && (splits(before, before.size() - tail) || splits(after, after.size() - tail)))
        --tail;
    WordSpans spans;
    spans.before = {head, before.size() - head - tail};
    spans.after = {head, after.size() - head - tail};
    const auto inCommon = [&](QStringView text) {
        return std::count_if(text.begin(), text.begin() + head, [](QChar c) { return !c.isSpace(); }) +
               std::count_if(text.end() - tail, text.end(), [](QChar c) { return !c.isSpace(); });
    };
    spans.related = inCommon(before) * 4 >= shorter;
    return spans;
}

} // namespace espalier
