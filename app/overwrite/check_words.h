// SPDX-License-Identifier: MIT
//
// What the overwrite check says of a commit: a word or two for its row, a sentence for its detail, a sentence to be read
// aloud, and the sign that is drawn between the two versions. Private to app/overwrite.
#pragma once

#include "core/remotes/overwrite_check.h"

#include <QString>

namespace espalier {

// "same change", "edited, moved", "LOST if overwritten".
QString stateWords(const CheckRow& row);
// What it means for who looks at the branch.
QString stateMeaning(const CheckRow& row);
// "Edited: Convert feet, 1a2b3c4 on the fork, 5d6e7f8 in the clone".
QString spokenRow(const CheckRow& row);
// "=", "≠", …; empty where nothing joins two versions.
QString joinSign(CheckState state);
// "1 lost, 2 edited, 3 the same change", loudest first.
QString checkSummary(const std::vector<CheckRow>& rows);

} // namespace espalier
