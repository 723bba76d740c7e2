// SPDX-License-Identifier: MIT
//
// The names of refs and their rules.
//
//     if (!isBranchName(typed)) …                       // "topic/x": yes; "topic..x": no
//     const std::string ref = branchRef("topic/x");     // "refs/heads/topic/x"
#pragma once

#include <set>
#include <string>
#include <string_view>

namespace espalier {

inline constexpr std::string_view headsPrefix = "refs/heads/", trackingPrefix = "refs/remotes/",
                                  tagsPrefix = "refs/tags/", ownPrefix = "refs/espalier/";

// Whether git accepts it for a ref (git-check-ref-format(1)), or for a branch by its short name (with --branch).
bool isRefName(const std::string& name);
bool isBranchName(const std::string& name);

std::string branchRef(std::string_view branch);
// "refs/heads/topic/x" -> "topic/x"; empty for other refs.
std::string shortBranchName(std::string_view ref);
// A branch by its short name, any other ref as it is.
std::string_view branchOrRef(std::string_view ref);
// The same for people: control characters escaped.
std::string shownRef(std::string_view ref);

// The number of the pull request that a ref shows, "12" of refs/pull/12/head and of refs/remotes/upstream/pr/12; empty for
// other refs. Told by the name: pull, pr or merge-requests, a number, and maybe head or merge, below refs/ or a remote's
// refs. Such a ref follows somebody's branch, whatever remote it is fetched from.
std::string pullRequestOf(std::string_view ref);

// Two refs cannot both be there when one's name goes on from the other's: "a" and "a/b".
bool standInEachOthersWay(std::string_view a, std::string_view b);
// One of `names` that stands in the way of `name`; empty when there is none.
std::string inTheWay(const std::set<std::string>& names, const std::string& name);

} // namespace espalier
