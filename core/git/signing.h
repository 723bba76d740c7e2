// SPDX-License-Identifier: MIT
//
// Signs commits as the user's configuration asks, with the user's own programs. The settings are git's (git-config:
// commit.gpgSign, gpg.format, gpg.program, gpg.<format>.program, gpg.ssh.defaultKeyCommand, user.signingKey).
//
//     if (const auto wanted = wantsSigning(repository); wanted && *wanted) {
//         auto signature = signCommit(repository, bytes);
//         bytes = addSignatureHeader(bytes, *signature);
//     }
#pragma once

#include "core/git/error.h"
#include "core/git/repository.h"

#include <stop_token>
#include <string>
#include <string_view>

namespace espalier {

// Whether commit.gpgSign is set. Errors: Broken when it means neither yes nor no.
Result<bool> wantsSigning(const Repository& repository);

// The signature over the bytes of a commit object, as it goes into the gpgsig header. The program may ask for a
// passphrase in its own window or on the terminal. Errors: Refused (no key, the program said no: with its last words),
// NotFound (no such program), Unsupported (an unknown gpg.format), Cancelled.
Result<std::string> signCommit(const Repository& repository, const std::string& commitBytes, std::stop_token stop = {});

// The bytes with the signature as their last header, where git puts it.
std::string addSignatureHeader(std::string_view commitBytes, std::string_view signature);

} // namespace espalier
