// SPDX-License-Identifier: MIT
//
// Who stands behind a hunk, in words: the sentence under the panes and the line in the head of the left one.
//
//     explanation->setText(whoChanged(who, text.yourCommit));
//     editor->setNewBaseWords(newBaseWords(who));
#pragma once

#include "core/conflicts/hunk_commits.h"

#include <QString>

namespace espalier {

// "The new base changed these lines in 23bb4cd (Mira Holt, 3 days ago), your commit in 9e1f0aa."
QString whoChanged(const HunkCommits& who, const Oid& yourCommit);
// All of them with their subjects, a line each; empty when nobody is named.
QString whoChangedAtLength(const HunkCommits& who);
// "23bb4cd Split the table", "23bb4cd Split the table, and 2 more"; empty when no commit of the new base did.
QString newBaseWords(const HunkCommits& who);

} // namespace espalier
