// SPDX-License-Identifier: MIT
//
// What the processes under the fault library (faults.cpp) count together; a file that all of them map.
#pragma once

#include <atomic>

namespace espalier::test {

struct FaultState {
    std::atomic<unsigned> calls; // that changed something below the folder, until now
    std::atomic<unsigned> fired; // 1: the call of FAULTS_AT was reached
};

} // namespace espalier::test
