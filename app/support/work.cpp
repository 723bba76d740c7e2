// SPDX-License-Identifier: MIT
#include "app/support/work.h"

namespace espalier {
} // namespace espalier
