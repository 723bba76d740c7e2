// SPDX-License-Identifier: MIT
//
// Pictures of any repository's history: at rest, folded, focused on a topic branch and filtered in every way. Prints how long
// the picture took to appear and the longest time for which the window did not answer.
#pragma once

#include <QString>

namespace espalier::pictures {

void takeRepositoryPictures(const QString& repository, const QString& folder, const QString& file,
                            const QString& suffix);

} // namespace espalier::pictures
