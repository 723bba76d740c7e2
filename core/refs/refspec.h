// SPDX-License-Identifier: MIT
//
// Refspecs of a fetch: which refs of a remote go to which refs here. Rules: git-fetch(1), "CONFIGURED REMOTE-TRACKING
// BRANCHES" and <refspec>.
//
//     auto spec = Refspec::parse("+refs/heads/*:refs/remotes/origin/*");
//     spec->destinationOf("refs/heads/main");   // "refs/remotes/origin/main"
#pragma once

#include "core/git/error.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct Refspec {
    std::string source, destination; // destination may be empty: then nothing is written but FETCH_HEAD
    bool force = false;
    bool negative = false; // "^refs/heads/x": what it matches is left out
    bool pattern = false;  // with one '*' on both sides
    friend bool operator==(const Refspec&, const Refspec&) = default;

    // Errors: Usage, with the text.
    static Result<Refspec> parse(std::string_view text);
    std::string text() const;

    bool matches(std::string_view ref) const; // a ref of the remote
    // Where a ref of the remote goes; nothing when it does not match, empty when it goes nowhere.
    std::optional<std::string> destinationOf(std::string_view ref) const;
    // The ref of the remote that goes to `ref` here; nothing when none does.
    std::optional<std::string> sourceOf(std::string_view ref) const;
};

// Whether a negative refspec leaves a ref of the remote out.
bool isLeftOut(const std::vector<Refspec>& specs, std::string_view ref);

// Where a remote's ref goes by the first refspec that has a place for it; empty: nowhere.
std::string destinationOf(const std::vector<Refspec>& specs, std::string_view ref);

// The only refs that a fetch may write or delete, whatever a refspec says: below refs/remotes/ and refs/tags/. Branches are
// the user's, and below refs/espalier/ stands what the logbook keeps.
bool isFetchable(std::string_view ref);

} // namespace espalier
