// SPDX-License-Identifier: MIT
//
// libgit2's process-wide state. Every function of core that opens a repository calls this first.
#pragma once

namespace espalier {

// Starts libgit2 once, with the options the program relies on. Safe from any thread, cheap when done before.
void startLibrary();

} // namespace espalier
