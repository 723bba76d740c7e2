// SPDX-License-Identifier: MIT
#include "core/remotes/stands_on.h"

#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <algorithm>
#include <charconv>
#include <set>
#include <tuple>
#include <unordered_set>

namespace espalier {

namespace {

// The rows of the old commits, and which of them are lost.
struct OldRows {
    std::unordered_set<Row> all, lost;
    Row tip = noRow;
    Row lowest = 0;
};

OldRows oldRows(const Snapshot& snapshot, const OverwriteCheck& check)
{
    OldRows old;
    const auto add = [&](const Oid& id, bool isLost) {
        const Row row = snapshot.history.find(id);
        if (row == noRow)
            return;
        old.all.insert(row);
        if (isLost)
            old.lost.insert(row);
        old.lowest = std::max(old.lowest, row);
    };
    for (const CommitPair& pair : check.pairs)
        add(pair.old.id, false);
    for (const CheckedCommit& commit : check.removed)
        add(commit.id, true);
    for (const CheckedCommit& commit : check.foreign)
        add(commit.id, true);
    old.tip = snapshot.history.find(check.remoteTip);
    return old;
}

// By row, down to the lowest old one: it is one of them or stands on one.
std::vector<bool> standingOn(const History& history, const OldRows& old)
{
    std::vector<bool> stands(std::size_t(old.lowest) + 1, false);
    for (Row row = old.lowest + 1; row-- > 0;)
        stands[row] = old.all.contains(row) || std::ranges::any_of(history.parents(row), [&](Row parent) {
                          return parent < stands.size() && stands[parent];
                      });
    return stands;
}

void count(const History& history, const OldRows& old, const std::vector<bool>& stands, Row from, StandsOn& other)
{
    std::unordered_set<Row> seen{from};
    for (std::vector<Row> open{from}; !open.empty();) {
        const Row row = open.back();
        open.pop_back();
        const bool isOld = old.all.contains(row);
        other.hasTip = other.hasTip || row == old.tip;
        other.above += !isOld;
        other.old += isOld;
        other.lost += old.lost.contains(row);
        for (const Row parent : history.parents(row))
            if (parent < stands.size() && stands[parent] && seen.insert(parent).second)
                open.push_back(parent);
    }
}

bool isTheBranchItself(const Ref& ref, const OverwriteCheck& check)
{
    if (ref.kind == RefKind::Branch)
        return ref.branch == check.branch;
    return ref.kind == RefKind::RemoteBranch && ref.remote == check.remote && branchRef(ref.branch) == check.remoteRef;
}

StandsOn describe(const Ref& ref)
{
    StandsOn other;
    other.ref = ref.name;
    other.name = ref.shortName;
    switch (ref.kind) {
    case RefKind::Branch:
        other.kind = StandsOn::LocalBranch;
        break;
    case RefKind::RemoteBranch:
        other.kind = StandsOn::RemoteBranch;
        break;
    case RefKind::Tag:
        other.kind = StandsOn::Tag;
        break;
    case RefKind::Other:
        other.kind = StandsOn::Other;
        other.name = ref.name;
    }
    if (std::string number = pullRequestOf(ref.name); !number.empty()) {
        other.kind = StandsOn::PullRequest;
        other.name = std::move(number);
    }
    return other;
}

unsigned numberOf(const std::string& text)
{
    unsigned number = 0;
    std::from_chars(text.data(), text.data() + text.size(), number);
    return number;
}

// A request's ref may be here under several names, and what is tried out for it, its merge with the branch it is for, says
// nothing beside the request's own. `all` is sorted.
void nameRequestsOnce(std::vector<StandsOn>& all)
{
    std::set<std::string> withHead;
    for (const StandsOn& each : all)
        if (each.kind == StandsOn::PullRequest && !each.ref.ends_with("/merge"))
            withHead.insert(each.name);
    std::set<std::tuple<std::string, bool, std::size_t, std::size_t>> said;
    std::erase_if(all, [&](const StandsOn& each) {
        if (each.kind != StandsOn::PullRequest)
            return false;
        return (each.ref.ends_with("/merge") && withHead.contains(each.name)) ||
               !said.emplace(each.name, each.hasTip, each.above, each.old).second;
    });
}

} // namespace

std::vector<StandsOn> whatStandsOn(const Snapshot& snapshot, const OverwriteCheck& check)
{
    std::vector<StandsOn> found;
    const OldRows old = oldRows(snapshot, check);
    if (check.fastForward || old.all.empty() || old.tip == noRow)
        return found;
    const std::vector<bool> stands = standingOn(snapshot.history, old);
    for (const Ref& ref : snapshot.refs) {
        if (ref.row >= stands.size() || !stands[ref.row] || isTheBranchItself(ref, check))
            continue;
        count(snapshot.history, old, stands, ref.row, found.emplace_back(describe(ref)));
    }
    std::ranges::sort(found, {}, [](const StandsOn& each) {
        return std::tuple(each.kind, each.kind == StandsOn::PullRequest ? numberOf(each.name) : 0u, each.ref);
    });
    nameRequestsOnce(found);
    return found;
}

std::string_view standsOnKindName(StandsOn::Kind kind)
{
    constexpr std::string_view names[] = {"local-branch", "remote-branch", "pull-request", "tag", "other"};
    return names[kind];
}

std::string standsOnWords(const StandsOn& other)
{
    const std::string name = displayText(other.name, 200);
    std::string words;
    switch (other.kind) {
    case StandsOn::LocalBranch:
        words = "branch " + name + " of the clone";
        break;
    case StandsOn::RemoteBranch:
        words = "remote branch " + name;
        break;
    case StandsOn::PullRequest:
        words = "pull request " + name + " (" + displayText(other.ref, 200) + ")";
        break;
    case StandsOn::Tag:
        words = "tag " + name;
        break;
    case StandsOn::Other:
        words = name;
    }
    if (other.atTip())
        words += " stands at the old tip";
    else if (other.hasTip)
        words += " has the old tip and " + counted(other.above, "commit", "commits") + " above it";
    else
        words += " has " + counted(other.old, "of the old commits", "of the old commits") +
                 (other.above == 0 ? "" : " and " + counted(other.above, "other", "others") + " above");
    if (other.lost > 0)
        words += "; holds " + std::to_string(other.lost) + " without a counterpart";
    return words;
}

} // namespace espalier
