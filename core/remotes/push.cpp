// SPDX-License-Identifier: MIT
#include "core/remotes/push.h"

#include "core/git/text.h"
#include "core/refs/head.h"
#include "core/refs/ref_name.h"
#include "core/remotes/push_orders.h"
#include "core/remotes/push_place.h"

namespace espalier {

namespace {

std::string shown(const std::string& text) { return displayText(text, 300); }

Result<Pushed> sendOne(const Repository& repository, const std::string& remote, PushOrder order, const Access& access,
                       const Progress& progress)
{
    auto sent = sendOrders(repository, remote, {std::move(order)}, access, progress);
    if (!sent)
        return std::unexpected(sent.error());
    return std::move(sent->front());
}

} // namespace

Result<std::vector<Pushed>> pushAll(const Repository& repository, std::span<const PushRequest> requests,
                                    const Access& access, const Progress& progress)
{
    std::vector<PushOrder> orders;
    std::string remote;
    for (const PushRequest& request : requests) {
        auto place = pushPlace(repository, request.branch, request.remote);
        if (!place)
            return std::unexpected(place.error());
        if (!orders.empty() && place->remote != remote)
            return fail(ErrorKind::Usage, "These branches go to different remotes", shown(request.branch),
                        "Push them one by one");
        remote = place->remote;
        if (std::ranges::contains(orders, place->ref, &PushOrder::ref))
            return fail(ErrorKind::Usage, "Two of these branches go to one", shown(place->ref), "Push them one by one");
        PushOrder order;
        order.branch = request.branch;
        order.ref = place->ref;
        order.localRef = branchRef(request.branch);
        order.expect = request.expect;
        auto tip = readRef(raw(repository), order.localRef);
        if (!tip)
            return std::unexpected(tip.error());
        if (tip->isZero())
            return fail(ErrorKind::NotFound, "There is no such branch", shown(request.branch),
                        "Look at the list of branches");
        order.now = *tip;
        order.title = "Push " + request.branch + " to " +
                      (order.ref == order.localRef ? remote : shortBranchName(order.ref) + " on " + remote);
        orders.push_back(std::move(order));
    }
    if (orders.empty())
        return std::vector<Pushed>{};
    return sendOrders(repository, remote, orders, access, progress);
}

Result<Pushed> push(const Repository& repository, const PushRequest& request, const Access& access,
                    const Progress& progress)
{
    auto all = pushAll(repository, {&request, 1}, access, progress);
    if (!all)
        return std::unexpected(all.error());
    return std::move(all->front());
}

Result<Pushed> restorePush(const Repository& repository, const std::string& entryId, const Access& access,
                           const Progress& progress, const std::optional<Oid>& expect)
{
    auto entry = findEntry(repository, entryId);
    if (!entry)
        return std::unexpected(entry.error());
    if (entry->remote.empty() || entry->moves.size() != 1)
        return fail(ErrorKind::Usage, "This entry is not about a push", entryId,
                    "Take it back like a change of the clone");
    if (!entry->restorable())
        return fail(ErrorKind::Refused,
                    "This entry cannot be taken back: it is " + std::string(entryStateName(entry->state)), entryId,
                    "The logbook tells which entries can");
    const RefMove& move = entry->moves.front();
    PushOrder order;
    order.kind = EntryKind::Restore;
    order.title = "Take back: " + entry->title;
    order.branch = shortBranchName(move.name);
    order.ref = move.name;
    order.localRef = keptRef(entry->id, 0);
    order.takesBack = entry->id;
    order.now = move.old;
    order.expect = expect.value_or(move.now);
    return sendOne(repository, entry->remote, std::move(order), access, progress);
}

Result<Pushed> deleteRemoteBranch(const Repository& repository, const std::string& remote, const std::string& branch,
                                  const Oid& expect, const Access& access, const Progress& progress)
{
    PushOrder order;
    order.kind = EntryKind::CleanUp;
    order.title = "Delete " + branch + " on " + remote;
    order.branch = branch;
    order.ref = branchRef(branch);
    order.expect = expect;
    return sendOne(repository, remote, std::move(order), access, progress);
}

} // namespace espalier
