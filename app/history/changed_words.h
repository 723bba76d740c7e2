// SPDX-License-Identifier: MIT
//
// What differs between an old and a new version of one line: the part between the words that both begin and end with.
//
//     WordSpans spans = changedWords(u"height = 3 feet", u"height = 3 metres");
//     spans.before;                            // {11, 4}: "feet"
#pragma once

#include <QStringView>

namespace espalier {

struct WordSpan {
    qsizetype start = 0;
    qsizetype length = 0;
};
struct WordSpans {
    WordSpan before, after; // empty where nothing was taken away or added
    bool related = false;   // the lines have enough in common for the spans to say something
};
WordSpans changedWords(QStringView before, QStringView after);

} // namespace espalier
