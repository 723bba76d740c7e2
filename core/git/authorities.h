// SPDX-License-Identifier: MIT
//
// The certificate authorities that this machine trusts, for libgit2's own https. Where libgit2 is built upon mbedTLS it reads
// their whole list when it starts: 8 of the 19 ms of processor time that a command took which talks to nobody. Here it is read
// when somebody connects.
//
//     startLibgit2();      // without the list
//     readAuthorities();   // before the first connection
#pragma once

namespace espalier {

// git_libgit2_init(), but for the list. Once, by startLibrary().
void startLibgit2();
// Reads the list that startLibgit2() left out, once; where it left out none, nothing is done. Until then every certificate is
// refused. Safe from any thread.
void readAuthorities();

} // namespace espalier
