// SPDX-License-Identifier: MIT
#include "core/lanes/landmarks.h"
#include "core/refs/ref_name.h"

namespace espalier {

namespace {

bool isMainLineOrCopy(const Snapshot& snapshot, const Ref& ref)
{
    const Ref* main = snapshot.mainLineRef();
    return &ref == main || (main && ref.place && !ref.branch.empty() && ref.branch == main->branch);
}

// A branch of the clone, its copies in the other places, and what only the fork has: pushed from another clone.
bool isUsers(const Snapshot& snapshot, const Ref& ref)
{
    if (ref.kind == RefKind::Branch)
        return true;
    if (ref.kind != RefKind::RemoteBranch || !ref.place)
        return false;
    if (ref.place == Place::Fork)
        return true;
    return snapshot.findRef(branchRef(ref.branch)) != nullptr;
}

bool isCheckedOut(const Snapshot& snapshot, const Ref& ref)
{
    return ref.name == snapshot.worktree.headBranch || snapshot.worktree.checkedOutElsewhere.contains(ref.name);
}

void findMainLine(const Snapshot& snapshot, Landmarks& marks)
{
    const History& history = snapshot.history;
    const Ref* main = snapshot.mainLineRef();
    const Row tip = main ? main->row : noRow;
    if (tip >= history.size())
        return;
    for (Row row = tip; row != noRow;) {
        marks.onMain[row] = true;
        const auto parents = history.parents(row);
        row = parents.empty() ? noRow : parents[0];
    }
    marks.landed[tip] = true;
    for (Row row = tip; row < history.size(); ++row)
        if (marks.landed[row])
            for (const Row parent : history.parents(row))
                marks.landed[parent] = true;
}

} // namespace

Landmarks findLandmarks(const Snapshot& snapshot)
{
    const History& history = snapshot.history;
    const Row count = history.size();
    Landmarks marks{std::vector<bool>(count), std::vector<bool>(count), std::vector<bool>(count),
                    std::vector<bool>(count), std::vector<std::uint32_t>(count)};
    findMainLine(snapshot, marks);
    const Ref* main = snapshot.mainLineRef();
    const std::int64_t oldest = main && main->row < count ? history.time(main->row) - staleSeconds : 0;
    for (const Ref& ref : snapshot.refs) {
        if (ref.row >= count)
            continue;
        ++marks.labels[ref.row];
        if (isMainLineOrCopy(snapshot, ref) || isCheckedOut(snapshot, ref) ||
            (ref.kind == RefKind::Tag && marks.onMain[ref.row]))
            marks.keepsRow[ref.row] = true;
        else if (!marks.landed[ref.row] && history.time(ref.row) >= oldest)
            (isUsers(snapshot, ref) ? marks.keepsRow : marks.keepsLine)[ref.row] = true;
    }
    for (Row row = 0; row < count; ++row)
        if (history.isGrafted(row) || history.isReplaced(row))
            marks.keepsRow[row] = true;
    if (const Row head = history.find(snapshot.worktree.headTip); head != noRow)
        marks.keepsRow[head] = true;
    return marks;
}

std::vector<std::uint32_t> labelsByRow(const Snapshot& snapshot)
{
    std::vector<std::uint32_t> labels(snapshot.history.size(), 0);
    for (const Ref& ref : snapshot.refs)
        if (ref.row < labels.size())
            ++labels[ref.row];
    return labels;
}

std::vector<bool> reachedByMoreThanTags(const Snapshot& snapshot)
{
    const History& history = snapshot.history;
    std::vector<bool> reached(history.size(), false);
    bool hasBranch = false, hasTag = false;
    for (const Ref& ref : snapshot.refs) {
        if (ref.row >= history.size())
            continue;
        hasTag |= ref.kind == RefKind::Tag;
        hasBranch |= ref.kind == RefKind::Branch || ref.kind == RefKind::RemoteBranch;
        if (ref.kind != RefKind::Tag)
            reached[ref.row] = true;
    }
    if (!hasBranch || !hasTag)
        return std::vector<bool>(history.size(), true);
    if (const Row head = history.find(snapshot.worktree.headTip); head != noRow)
        reached[head] = true;
    // Parents are further down.
    for (Row row = 0; row < history.size(); ++row)
        if (reached[row])
            for (const Row parent : history.parents(row))
                reached[parent] = true;
    return reached;
}

} // namespace espalier
