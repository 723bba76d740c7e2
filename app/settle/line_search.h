// SPDX-License-Identifier: MIT
//
// Words looked for in text, within lines. Where they stand is found the same way for what is gone to, counted, marked and
// replaced.
//
//     matchesIn(u"a cat, a catfish", {QStringLiteral("cat"), false, true});     // {2}
#pragma once

#include <QString>
#include <QStringView>

#include <vector>

namespace espalier {

struct Sought {
    QString words; // within one line; empty: nothing is looked for
    bool matchCase = false;
    bool wholeWords = false; // neither a letter, a digit nor `_` before or behind
    friend bool operator==(const Sought&, const Sought&) = default;
};

// Where they begin, from left to right, none within another; at most `most`.
std::vector<qsizetype> matchesIn(QStringView text, const Sought& sought, std::size_t most = 100'000);

} // namespace espalier
