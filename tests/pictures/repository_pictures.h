// SPDX-License-Identifier: MIT
//
// Pictures of any repository's history: at rest, folded, focused on a topic branch and filtered in every way. Prints how long
// the picture took to appear and the longest time for which the window did not answer.
#pragma once

#include <QString>

namespace espalier::pictures {

void takeRepositoryPictures(const QString& repository, const QString& folder, const QString& file,
                            const QString& suffix);
// What one sees of a history while BRANCH, of the clone, is dragged: gathered, hovered over, in a focus; and the first look, the
// local changes and everything. In a large and a small window.
void takeGatheredPictures(const QString& repository, const QString& folder, const QString& branch,
                          const QString& suffix);

} // namespace espalier::pictures
