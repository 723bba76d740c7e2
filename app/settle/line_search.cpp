// SPDX-License-Identifier: MIT
#include "app/settle/line_search.h"

namespace espalier {

std::vector<qsizetype> matchesIn(QStringView text, const Sought& sought, std::size_t most)
{
    std::vector<qsizetype> found;
    const QStringView words = sought.words;
    if (words.isEmpty())
        return found;
    const auto isWord = [&](qsizetype at) {
        return at >= 0 && at < text.size() && (text[at].isLetterOrNumber() || text[at] == QLatin1Char('_'));
    };
    const Qt::CaseSensitivity sensitivity = sought.matchCase ? Qt::CaseSensitive : Qt::CaseInsensitive;
    for (qsizetype at = text.indexOf(words, 0, sensitivity); at >= 0 && found.size() < most;) {
        const qsizetype end = at + words.size();
        const bool counts = !sought.wholeWords || (!isWord(at - 1) && !isWord(end));
        if (counts)
            found.push_back(at);
        at = text.indexOf(words, counts ? end : at + 1, sensitivity);
    }
    return found;
}

} // namespace espalier
