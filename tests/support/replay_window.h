// SPDX-License-Identifier: MIT
//
// The window with a replay's dry run in it, as a test of the pages begins.
//
//     setUpTopic(repo);                                      // topic/x with a commit of its own, checked out
//     auto window = openReplay(repo, "topic/x", "main");     // null, and the test has failed, when there is no dry run
#pragma once

#include "app/window/main_window.h"
#include "tests/support/temp_repository.h"

#include <memory>

namespace espalier::test {

// Files of the commit below both, of the one on topic/x and of the one on main. Mira Sol is who commits.
void setUpTopic(TempRepository& repo, const Files& base, const Files& topic, const Files& main);

// A branch of the clone onto another, both by their short names.
std::unique_ptr<MainWindow> openReplay(const TempRepository& repo, const std::string& branch, const std::string& onto);

} // namespace espalier::test
