// SPDX-License-Identifier: MIT
//
// The settle page with a conflict of every kind, and with all that it tells about a hunk.
//
//     takeSettleKinds(window, pictures, samples);
#pragma once

#include "tests/pictures/pictures.h"

namespace espalier::pictures {

void takeSettleKinds(MainWindow& window, Pictures& pictures, const Scratch& samples);

} // namespace espalier::pictures
