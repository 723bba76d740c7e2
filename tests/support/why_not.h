// SPDX-License-Identifier: MIT
//
// What a test says where something should have worked, or should not have.
//
//     QVERIFY2(pushed, whyNot(pushed).c_str());
#pragma once

#include "core/git/error.h"

#include <string>

namespace espalier::test {

template <typename T> std::string whyNot(const Result<T>& result)
{
    return result ? std::string("it was done") : result.error().line();
}

} // namespace espalier::test
