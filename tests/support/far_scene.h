// SPDX-License-Identifier: MIT
//
// The clone of a fork that is far behind: a long main line upstream with merges, topics that left it long ago, releases, and
// history that only tags reach.
//
//     const FarScene scene(160'000, 82);
//     window.openRepository(scene.repo.path());
#pragma once

#include "tests/support/temp_repository.h"

namespace espalier::test {

struct FarScene {
    // `commits` of upstream's main line and what it has merged, roughly; the first topic left it furthest down. Topic 0 is
    // checked out. The clone's main and the fork's are a hundredth of it behind.
    FarScene(int commits, int topics);

    TempRepository repo;
    // "refs/heads/topic/<number>": each touches the file "shared", as every hundredth commit of the main line does. The fork has
    // an older version of every third.
    static std::string topic(int number) { return "refs/heads/topic/" + std::to_string(number); }
    static constexpr const char* mainLine = "refs/remotes/upstream/main";
    // A branch of upstream that left the main line half way up.
    static constexpr const char* release = "refs/remotes/upstream/1.x";
    int tagOnly = 0; // commits that only tags reach
};

} // namespace espalier::test
