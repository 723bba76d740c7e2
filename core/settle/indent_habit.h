// SPDX-License-Identifier: MIT
//
// How a text is indented, so that what is typed into it is indented alike.
//
//     indentHabit("f()\n{\n  one;\n}\n");     // blanks, in steps of 2
#pragma once

#include <string_view>

namespace espalier {

struct IndentHabit {
    enum Kind { Unknown, Tabs, Blanks } kind = Unknown; // Unknown: no line of it is indented
    int step = 4;                                       // for blanks, 2 to 8
    friend bool operator==(const IndentHabit&, const IndentHabit&) = default;
};

// Of its first lines, which are enough to know.
IndentHabit indentHabit(std::string_view text);

} // namespace espalier
