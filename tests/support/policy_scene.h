// SPDX-License-Identifier: MIT
//
// A repository whose main line has a policy: topics were merged into it, each merge conflicted in doc/notes.txt and was settled with
// the topic's text. topic/x, which is checked out, clashes with it there in two places, and once in lib/own.c, of which nothing is
// known.
//
//     PolicyScene scene(120);
//     scene.plan();
#pragma once

#include "core/replay/plan.h"
#include "tests/support/temp_repository.h"

#include <string>

namespace espalier::test {

class PolicyScene {
  public:
    // `own`: the clash in lib/own.c is there too.
    PolicyScene(int merges, bool own);

    // doc/notes.txt with these lines in its two places.
    static std::string notes(const std::string& first, const std::string& second);
    // topic/x onto main.
    Plan plan() const;

    TempRepository repo;
};

} // namespace espalier::test
