// SPDX-License-Identifier: MIT
//
// A clone with a topic branch and a rewrite of it whose objects are not in the clone yet, made by git itself in a second
// repository: what apply() gets after a dry run.
//
//     ReplayScene scene;
//     Repository clone = scene.repo.open();
//     auto applied = apply(clone, scene.rewrite());
#pragma once

#include "core/replay/rewrite.h"
#include "tests/support/temp_repository.h"

#include <string>
#include <vector>

namespace espalier::test {

Oid oid(const std::string& hex);

// Everything reachable from `tip` and not from `without`, read by git out of `from`.
std::shared_ptr<const NewObjects> objectsBetween(const TempRepository& from, const std::string& tip,
                                                 const std::string& without);

class ReplayScene {
  public:
    // topic/x is checked out, its files are in the worktree.
    ReplayScene();

    TempRepository repo;
    std::string base, main;                   // commits of the main line; topic/x begins at `base`
    std::vector<std::string> topic, replayed; // two commits each, oldest first

    Rewrite rewrite() const;
    // The state of the worktree without .git, as folderState has it.
    std::map<std::string, std::string> worktree() const;
    // What git itself says after `git status --porcelain`, with untracked files.
    std::string status() const;
    // Fails the test unless git fsck --strict finds nothing to say.
    void checkSound() const;

  private:
    TempRepository m_side;
};

} // namespace espalier::test
