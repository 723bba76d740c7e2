// SPDX-License-Identifier: MIT
//
// Moving branches on a remote: the one way by which pushes, deletions and what takes them back go. Private to core/remotes.
//
//     sendOrders(repository, "origin", {order}, access, progress);
#pragma once

#include "core/remotes/push.h"
#include "core/remotes/transport.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct PushOrder {
    EntryKind kind = EntryKind::Push;
    std::string title, branch; // branch: its short name, for people
    std::string ref;           // on the remote
    std::string localRef;      // for the hook
    std::string takesBack;     // the entry that it takes back
    Oid now;                   // zero: delete
    std::optional<Oid> expect; // what the user saw; nothing: only a fast-forward
};

// In the order of `orders`, which are about different refs; together or not at all where the other side can do that. What was about
// to be overwritten is here and kept before anything is sent, and stays kept until the other side was read back and is known.
Result<std::vector<Pushed>> sendOrders(const Repository& repository, const std::string& remote,
                                       const std::vector<PushOrder>& orders, const Access& access,
                                       const Progress& progress);

} // namespace espalier
