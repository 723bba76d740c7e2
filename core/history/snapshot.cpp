// SPDX-License-Identifier: MIT
#include "core/history/snapshot.h"

#include "core/git/text.h"
#include "core/history/history_data.h"
#include "core/history/ref_reader.h"
#include "core/history/worktree_state.h"
#include "core/refs/ref_name.h"

#include <algorithm>

namespace espalier {

namespace {

struct Named {
    std::vector<Ref> refs;
    std::vector<Oid> tips; // by ref, before they are peeled
};

// A remote's name may hold slashes, so the longest that fits is the one.
const Remote* remoteOf(const std::vector<Remote>& remotes, std::string_view rest)
{
    const Remote* found = nullptr;
    for (const Remote& remote : remotes)
        if (rest.size() > remote.name.size() && rest.starts_with(remote.name) && rest[remote.name.size()] == '/' &&
            (!found || remote.name.size() > found->name.size()))
            found = &remote;
    return found;
}

void describe(Ref& ref, const Snapshot& snapshot)
{
    const std::string_view name = ref.name;
    if (name.starts_with(headsPrefix)) {
        ref.kind = RefKind::Branch;
        ref.branch = ref.shortName = name.substr(headsPrefix.size());
        ref.place = Place::Clone;
    } else if (name.starts_with(trackingPrefix)) {
        ref.kind = RefKind::RemoteBranch;
        ref.shortName = name.substr(trackingPrefix.size());
        if (const Remote* remote = remoteOf(snapshot.remotes, ref.shortName)) {
            ref.remote = remote->name;
        } else { // left over from a remote that is gone
            ref.remote = ref.shortName.substr(0, ref.shortName.find('/'));
        }
        ref.branch = ref.shortName.substr(std::min(ref.shortName.size(), ref.remote.size() + 1));
        if (!pullRequestOf(name).empty())
            return; // somebody's branch, which the remote only shows
        if (!snapshot.roles.upstream.empty() && ref.remote == snapshot.roles.upstream)
            ref.place = Place::Upstream;
        else if (!snapshot.roles.fork.empty() && ref.remote == snapshot.roles.fork)
            ref.place = Place::Fork;
    } else if (name.starts_with(tagsPrefix)) {
        ref.kind = RefKind::Tag;
        ref.shortName = name.substr(tagsPrefix.size());
    } else {
        ref.kind = RefKind::Other;
        ref.shortName = name.substr(std::string_view("refs/").size());
    }
}

// Symbolic refs followed to an id, within the list; zero when they lead nowhere.
Oid follow(const std::vector<RawRef>& list, const RawRef& from)
{
    const RawRef* ref = &from;
    for (int depth = 0; depth < 5 && !ref->target.empty(); ++depth) {
        const auto at = std::ranges::lower_bound(list, ref->target, {}, &RawRef::name);
        if (at == list.end() || at->name != ref->target)
            return {};
        ref = &*at;
    }
    return ref->peeled.isZero() ? ref->id : ref->peeled;
}

Named nameRefs(const RawRefs& raw, Snapshot& snapshot, std::string& upstreamHead)
{
    Named named;
    named.refs.reserve(raw.list.size());
    named.tips.reserve(raw.list.size());
    const std::string ofUpstream = std::string(trackingPrefix) + snapshot.roles.upstream + "/";
    const std::string ofFork = std::string(trackingPrefix) + snapshot.roles.fork + "/";
    std::string forkHead;
    for (const RawRef& found : raw.list) {
        if (found.name.starts_with(ownPrefix))
            continue;
        if (!found.target.empty() && found.name.starts_with(trackingPrefix) && found.name.ends_with("/HEAD")) {
            if (found.name == ofUpstream + "HEAD")
                upstreamHead = found.target;
            else if (found.name == ofFork + "HEAD" && found.target.starts_with(ofFork))
                forkHead = found.target.substr(ofFork.size());
            continue;
        }
        const Oid tip = follow(raw.list, found);
        if (tip.isZero())
            continue;
        Ref& ref = named.refs.emplace_back();
        ref.name = found.name;
        describe(ref, snapshot);
        named.tips.push_back(tip);
    }
    // `git remote add` and a fetch leave no HEAD of the upstream's. A fork is a clone of it on the server: its HEAD was the
    // upstream's when it was made.
    if (upstreamHead.empty() && !forkHead.empty())
        upstreamHead = ofUpstream + forkHead;
    return named;
}

int indexOf(const std::vector<Ref>& refs, std::string_view name)
{
    const auto at = std::ranges::lower_bound(refs, name, {}, [](const Ref& ref) { return std::string_view(ref.name); });
    return at != refs.end() && at->name == name ? int(at - refs.begin()) : -1;
}

int chooseMainLine(const Snapshot& snapshot, const std::string& upstreamHead)
{
    const auto usual = [&](const std::string& prefix) {
        for (const char* name : {"main", "master", "trunk"})
            if (const int found = indexOf(snapshot.refs, prefix + name); found >= 0)
                return found;
        return -1;
    };
    if (!upstreamHead.empty())
        if (const int found = indexOf(snapshot.refs, upstreamHead); found >= 0)
            return found;
    if (!snapshot.roles.upstream.empty())
        if (const int found = usual(std::string(trackingPrefix) + snapshot.roles.upstream + "/"); found >= 0)
            return found;
    if (const int found = indexOf(snapshot.refs, snapshot.worktree.headBranch); found >= 0)
        return found;
    if (const int found = usual(std::string(headsPrefix)); found >= 0)
        return found;
    const auto firstOf = [&](RefKind kind) { return std::ranges::find(snapshot.refs, kind, &Ref::kind); };
    for (const RefKind kind : {RefKind::Branch, RefKind::RemoteBranch})
        if (const auto at = firstOf(kind); at != snapshot.refs.end())
            return int(at - snapshot.refs.begin());
    return snapshot.refs.empty() ? -1 : 0;
}

// Place bits travel down the rows: every child stands above its parents.
std::vector<Places> spreadPlaces(const Snapshot& snapshot, Row head)
{
    std::vector<Places> places(snapshot.history.size());
    for (const Ref& ref : snapshot.refs) {
        if (!ref.place)
            continue;
        places[ref.row] |= placeBit(*ref.place);
        if (snapshot.roles.oneForBoth() && ref.kind == RefKind::RemoteBranch)
            places[ref.row] |= placeBit(Place::Fork);
    }
    // A detached HEAD is a branch of the clone in all but its name.
    if (head != noRow)
        places[head] |= placeBit(Place::Clone);
    for (Row row = 0; row < snapshot.history.size(); ++row)
        for (const Row parent : snapshot.history.parents(row))
            places[parent] |= places[row];
    return places;
}

// Drops the refs that stand for no commit. What does not exist is worth a line, a tag of a tree or a text is not.
void keepCommits(Named& named, const HistoryBuilder::Loaded& loaded, Snapshot& snapshot)
{
    constexpr std::size_t most = 5;
    std::size_t told = 0;
    for (const std::size_t i : loaded.missing) {
        if (i >= named.refs.size()) {
            snapshot.damage.emplace_back("HEAD points at an object that is missing or damaged.");
            continue;
        }
        if (told++ < most)
            snapshot.damage.push_back("The ref " + displayText(named.refs[i].name, 200) +
                                      " points at an object that is missing or damaged; it is not shown.");
    }
    if (told > most)
        snapshot.damage.push_back("So do " + counted(told - most, "more ref", "more refs") + ".");
    std::size_t kept = 0;
    for (std::size_t i = 0; i < named.refs.size(); ++i) {
        if (loaded.rows[i] == noRow)
            continue;
        if (kept != i)
            named.refs[kept] = std::move(named.refs[i]);
        named.refs[kept].row = loaded.rows[i];
        named.refs[kept].tip = loaded.history.id(loaded.rows[i]);
        ++kept;
    }
    named.refs.resize(kept);
    snapshot.refs = std::move(named.refs);
}

// All that follows from the table and the refs.
void complete(Snapshot& snapshot, Named named, HistoryBuilder::Loaded loaded, Row head, const std::string& upstreamHead)
{
    keepCommits(named, loaded, snapshot);
    snapshot.history = std::move(loaded.history);
    snapshot.places = spreadPlaces(snapshot, head);
    snapshot.mainLine = chooseMainLine(snapshot, upstreamHead);
    snapshot.refsByRow.reserve(snapshot.refs.size());
    for (std::size_t i = 0; i < snapshot.refs.size(); ++i)
        snapshot.refsByRow.emplace_back(snapshot.refs[i].row, int(i));
    std::ranges::sort(snapshot.refsByRow);
}

// The newest rows as a snapshot. A ref below them reaches nothing above, so their places are right. Null when the main line
// is not among them: the lanes would be other ones.
SnapshotPtr seenSoFar(const Snapshot& begun, const Named& named, HistoryBuilder::Loaded loaded,
                      const std::string& upstreamHead)
{
    auto seen = std::make_shared<Snapshot>();
    seen->path = begun.path;
    seen->name = begun.name;
    seen->remotes = begun.remotes;
    seen->roles = begun.roles;
    seen->worktree = begun.worktree;
    const Row head = begun.worktree.detached ? loaded.history.find(begun.worktree.headTip) : noRow;
    complete(*seen, named, std::move(loaded), head, upstreamHead);
    Snapshot all;
    all.refs = named.refs;
    all.roles = begun.roles;
    all.worktree = begun.worktree;
    const int wanted = chooseMainLine(all, upstreamHead);
    const bool same =
        wanted >= 0 && seen->mainLine >= 0 && all.refs[std::size_t(wanted)].name == seen->mainLineRef()->name;
    return same ? seen : nullptr;
}

} // namespace

Result<SnapshotPtr> takeSnapshot(const Repository& repository, const Progress& progress, const SnapshotPtr& previous,
                                 const std::function<void(SnapshotPtr)>& first)
{
    auto snapshot = std::make_shared<Snapshot>();
    snapshot->path = repository.path().string();
    snapshot->name = repository.name();
    snapshot->remotes = readRemotes(repository);
    snapshot->roles = guessRoles(repository, snapshot->remotes);
    progress.report("Reading refs");
    // Before libgit2 looks at any, which would wait for a pipe.
    RawRefs raw = readRawRefs(repository);
    if (raw.unreadable)
        return std::unexpected(*raw.unreadable);
    snapshot->worktree = readWorktreeState(repository);
    if (snapshot->worktree.detached && snapshot->worktree.headTip.isZero())
        return fail(ErrorKind::Broken, "HEAD names neither a branch nor a commit",
                    (repository.gitDir() / "HEAD").string(),
                    "Write the name of a branch into it: ref: refs/heads/NAME");

    std::string upstreamHead;
    Named named = nameRefs(raw, *snapshot, upstreamHead);
    const bool headCounts = snapshot->worktree.detached && !snapshot->worktree.headTip.isZero();
    if (headCounts)
        named.tips.push_back(snapshot->worktree.headTip);
    if (progress.stopped())
        return cancelled();

    const History* known = previous && previous->path == snapshot->path ? &previous->history : nullptr;
    std::function<void(HistoryBuilder::Loaded)> newest;
    if (first)
        newest = [&](HistoryBuilder::Loaded rows) {
            if (SnapshotPtr seen = seenSoFar(*snapshot, named, std::move(rows), upstreamHead))
                first(std::move(seen));
        };
    auto loaded = HistoryBuilder::load(repository, named.tips, known, progress, newest);
    if (!loaded)
        return std::unexpected(loaded.error());
    snapshot->notices = loaded->history.notices();
    for (std::string& line : raw.notices)
        snapshot->damage.push_back(displayText(line));
    const Row head = headCounts ? loaded->rows.back() : noRow;
    complete(*snapshot, std::move(named), std::move(*loaded), head, upstreamHead);
    snapshot->notices.insert(snapshot->notices.end(), snapshot->damage.begin(), snapshot->damage.end());
    if (snapshot->roles.oneForBoth())
        snapshot->notices.push_back("One remote, " + displayText(snapshot->roles.upstream) +
                                    ", plays both parts: upstream and fork.");
    return snapshot;
}

const Ref* Snapshot::findRef(std::string_view fullName) const
{
    const int found = indexOf(refs, fullName);
    return found < 0 ? nullptr : &refs[std::size_t(found)];
}

const Ref* Snapshot::findByAnyName(std::string_view anyName) const
{
    if (const Ref* full = findRef(anyName))
        return full;
    for (const std::string_view prefix : {headsPrefix, trackingPrefix, tagsPrefix, std::string_view("refs/")})
        if (const Ref* found = findRef(std::string(prefix) + std::string(anyName)))
            return found;
    return nullptr;
}

const Ref* Snapshot::forkCopy(std::string_view branch) const
{
    if (roles.fork.empty())
        return nullptr;
    return findRef(std::string(trackingPrefix) + roles.fork + "/" + std::string(branch));
}

const Ref* Snapshot::upstreamCopy(std::string_view branch) const
{
    if (roles.upstream.empty())
        return nullptr;
    return findRef(std::string(trackingPrefix) + roles.upstream + "/" + std::string(branch));
}

std::vector<int> Snapshot::refsAt(Row row) const
{
    std::vector<int> found;
    for (auto at = std::ranges::lower_bound(refsByRow, std::pair(row, 0)); at != refsByRow.end() && at->first == row;
         ++at)
        found.push_back(at->second);
    return found;
}

} // namespace espalier
