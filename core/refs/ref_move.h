// SPDX-License-Identifier: MIT
//
// A ref that goes from one commit to another, with the value that it must still have: nothing moves a ref otherwise.
//
//     const RefMove move{"refs/heads/topic/x", oldTip, newTip};
#pragma once

#include "core/git/oid.h"

#include <string>

namespace espalier {

// Zero stands for "does not exist".
struct RefMove {
    std::string name;
    Oid old;
    Oid now;
    friend bool operator==(const RefMove&, const RefMove&) = default;
};

} // namespace espalier
