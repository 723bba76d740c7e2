// SPDX-License-Identifier: MIT
#include "core/remotes/fetch.h"

#include "core/git/files.h"
#include "core/git/text.h"
#include "core/history/ref_reader.h"
#include "core/refs/ref_locks.h"
#include "core/refs/ref_name.h"
#include "core/refs/ref_transaction.h"
#include "core/remotes/fetching.h"

namespace espalier {

namespace {

// refs/remotes/<remote>/HEAD says which branch everybody builds on; it follows the remote.
void refreshHead(const Repository& repository, const FetchSettings& settings, const std::string& defaultBranch)
{
    const std::string target = defaultBranch.empty() ? defaultBranch : destinationOf(settings.specs, defaultBranch);
    Handle<git_reference> there, old;
    if (!target.starts_with(trackingPrefix) || git_reference_lookup(out(there), raw(repository), target.c_str()) < 0)
        return;
    const std::string head = std::string(trackingPrefix) + settings.remote + "/HEAD";
    if (git_reference_lookup(out(old), raw(repository), head.c_str()) == 0 &&
        (git_reference_type(old.get()) != GIT_REFERENCE_SYMBOLIC || target == git_reference_symbolic_target(old.get())))
        return;
    (void)setSymbolicRef(raw(repository), head, target);
}

StandingRefs standingRefs(const Repository& repository)
{
    StandingRefs standing;
    for (const std::string_view prefix : {trackingPrefix, tagsPrefix})
        for (const RawRef& ref : readRawRefs(repository, prefix).list)
            standing[ref.name] = {ref.id, !ref.target.empty()};
    return standing;
}

bool hasObject(const Repository& repository, const Oid& id)
{
    Handle<git_odb> odb;
    const git_oid raw = toGit(id);
    return git_repository_odb(out(odb), espalier::raw(repository)) == 0 && git_odb_exists(odb.get(), &raw) == 1;
}

void refreshObjects(const Repository& repository)
{
    Handle<git_odb> odb;
    if (git_repository_odb(out(odb), raw(repository)) == 0)
        git_odb_refresh(odb.get());
}

FetchedObjects objectsOf(const Repository& repository)
{
    const auto commitOf = [&repository](const Oid& id) {
        Handle<git_object> object, commit;
        const git_oid raw = toGit(id);
        const bool peels = git_object_lookup(out(object), espalier::raw(repository), &raw, GIT_OBJECT_ANY) == 0 &&
                           git_object_peel(out(commit), object.get(), GIT_OBJECT_COMMIT) == 0;
        return peels ? fromGit(*git_object_id(commit.get())) : Oid{};
    };
    return {[&repository](const Oid& id) { return hasObject(repository, id); }, commitOf,
            [&repository](const Oid& above, const Oid& below) { return descendsFrom(repository, above, below); }};
}

std::string entryTitle(const std::string& remote, const FetchPlan& plan)
{
    std::string text = "Fetch from " + remote + ":";
    if (!plan.pruned.empty())
        text += " " + counted(plan.pruned.size(), "ref", "refs") + " pruned";
    if (!plan.replaced.empty())
        text += (plan.pruned.empty() ? " " : ", ") + counted(plan.replaced.size(), "ref", "refs") + " replaced";
    return text;
}

// One by one when not all can move together: a ref that another program holds keeps no other from moving.
void moveAll(const Repository& repository, const std::vector<RefMove>& moves, FetchReport& report)
{
    const auto together = [&](const std::vector<RefMove>& some) -> Result<void> {
        auto moved = moveRefs(repository, some, "espalier: fetch");
        if (!moved)
            return std::unexpected(moved.error());
        if (!moved->empty())
            report.notices.push_back(std::move(*moved));
        return {};
    };
    if (moves.empty())
        return;
    if (together(moves)) {
        report.moves.insert(report.moves.end(), moves.begin(), moves.end());
        return;
    }
    for (const RefMove& move : moves) {
        const auto now = readRef(raw(repository), move.name);
        if (auto moved = now && *now == move.now ? Result<void>{} : together({move}); moved)
            report.moves.push_back(move);
        else
            report.notices.push_back("Not written: " + moved.error().line());
    }
}

// What is pruned goes first: it may stand in the way of a new name that goes on from it.
FetchReport write(const Repository& repository, const std::string& remote, const FetchPlan& plan)
{
    FetchReport report{
        .remote = remote, .moves = {}, .forced = {}, .gone = plan.gone, .notices = plan.notices, .entry = {}};
    std::vector<RefMove> recorded = plan.pruned;
    recorded.insert(recorded.end(), plan.replaced.begin(), plan.replaced.end());
    if (!recorded.empty()) {
        auto done = moveTracking(repository, entryTitle(remote, plan), recorded);
        if (done) {
            report.entry = done->entry.id;
            report.moves = recorded;
            for (const RefMove& move : plan.replaced)
                report.forced.push_back(move.name);
            report.notices.insert(report.notices.end(), done->notices.begin(), done->notices.end());
        } else {
            report.notices.push_back("Nothing was pruned or replaced: " + done.error().line());
        }
    }
    moveAll(repository, plan.moves, report);
    return report;
}

struct Brought {
    Advertisement seen;
    std::vector<WantedRef> wanted;
};

// From here on refs lead to what came. A gc in between may have taken it for rubbish: it is brought again, or the refs go back to
// where they stood.
Result<void> bringAgain(const Repository& repository, const std::vector<WantedRef>& wanted, Transport& way,
                        FetchReport& report)
{
    // A handle that has not seen them looks for each on the disk.
    const auto fresh = Repository::open(repository.path());
    if (!fresh)
        return std::unexpected(fresh.error());
    std::vector<RefMove> back;
    std::set<Oid> lost;
    for (const RefMove& move : report.moves)
        if (!move.now.isZero() && !hasObject(*fresh, move.now)) {
            back.push_back({move.name, move.now, move.old});
            lost.insert(move.now);
        }
    if (lost.empty())
        return {};
    std::vector<WantedRef> toGet;
    std::ranges::copy_if(wanted, std::back_inserter(toGet),
                         [&](const WantedRef& ref) { return lost.erase(ref.id) > 0; });
    auto got = way.get(toGet);
    refreshObjects(repository);
    if (got)
        return {};
    for (const RefMove& move : back) {
        std::erase_if(report.moves, [&](const RefMove& moved) { return moved.name == move.name; });
        (void)moveRefs(repository, {move}, "espalier: fetch taken back");
    }
    return got;
}

// What is wanted and not what a ref stands at here already is here afterwards with all that it needs. An object may be here alone,
// left by a fetch that broke off: that it can be found says nothing.
Result<void> bringRefs(const std::vector<WantedRef>& wanted, const StandingRefs& refs, const FetchedObjects& objects,
                       Transport& way)
{
    std::set<Oid> standing, coming;
    for (const auto& [name, ref] : refs)
        standing.insert(ref.id);
    // A ref may have been left at what is gone.
    const auto stands = [&](const Oid& id) { return standing.contains(id) && objects.has(id); };
    std::vector<WantedRef> toGet;
    for (const WantedRef& ref : wanted)
        if (!stands(ref.id) && coming.insert(ref.id).second)
            toGet.push_back(ref);
    if (toGet.empty())
        return {};
    if (std::ranges::all_of(coming, objects.has)) {
        const auto complete = way.areComplete(coming);
        if (!complete)
            return std::unexpected(complete.error());
        if (*complete)
            return {};
    }
    return way.get(toGet);
}

Result<Brought> bring(const Repository& repository, const FetchSettings& settings, const StandingRefs& refs,
                      const FetchedObjects& objects, Transport& way, const Progress& progress)
{
    constexpr int mostLooks = 2;
    std::optional<Advertised> before;
    for (int look = 1;; ++look) {
        auto seen = way.look();
        if (!seen)
            return std::unexpected(seen.error());
        auto wanted = wantedRefs(seen->refs, settings);
        if (!wanted)
            return std::unexpected(wanted.error());
        for (WantedRef& tag : followedTags(seen->refs, settings, *wanted, refs, objects.has))
            wanted->push_back(std::move(tag));
        auto got = bringRefs(*wanted, refs, objects, way);
        if (got) {
            refreshObjects(repository);
            // Only what came shows which other tags stand for something that is here now.
            const auto more = followedTags(seen->refs, settings, *wanted, refs, objects.has);
            wanted->insert(wanted->end(), more.begin(), more.end());
            got = more.empty() ? got : bringRefs(more, refs, objects, way);
            refreshObjects(repository);
        }
        if (got)
            return Brought{std::move(*seen), std::move(*wanted)};
        // A branch that moved between the look and the sending may not be had any more.
        if (look == mostLooks || progress.stopped() || (before && *before == seen->refs))
            return std::unexpected(got.error());
        before = std::move(seen->refs);
    }
}

// git's own pull and fetch --append read it; a fetch is done without.
void writeFetchHead(const Repository& repository, const std::vector<WantedRef>& wanted, const std::string& url,
                    FetchReport& report)
{
    const std::string text = formatFetchHead(wanted, withoutSecret(url), objectsOf(repository).commitOf);
    if (auto written = writeFileAtomically(repository.gitDir() / "FETCH_HEAD", text); !written)
        report.notices.push_back(written.error().line());
}

} // namespace

std::string FetchReport::line() const
{
    std::size_t moved = 0, fresh = 0, pruned = 0;
    for (const RefMove& move : moves)
        ++(move.old.isZero() ? fresh : move.now.isZero() ? pruned : moved);
    std::string text;
    const auto add = [&](const std::string& part) { text += (text.empty() ? "" : ", ") + part; };
    if (moved)
        add(counted(moved, "branch", "branches") + " moved");
    if (!forced.empty())
        add(std::to_string(forced.size()) + " of them rewritten");
    if (fresh)
        add(std::to_string(fresh) + " new");
    if (pruned)
        add(std::to_string(pruned) + " gone");
    if (!gone.empty())
        add(std::to_string(gone.size()) + " gone there and still shown here");
    std::string line = displayText(remote, 100) + ": " + (text.empty() ? "nothing new" : text);
    for (const std::string& notice : notices)
        line += "; " + notice;
    return line;
}

Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, Transport& way,
                             const Progress& progress)
{
    auto settings = fetchSettings(repository, remote);
    if (!settings)
        return std::unexpected(settings.error());
    const StandingRefs refs = standingRefs(repository);
    const FetchedObjects objects = objectsOf(repository);
    auto brought = bring(repository, *settings, refs, objects, way, progress);
    if (!brought)
        return std::unexpected(brought.error());
    if (progress.stopped())
        return cancelled();
    const auto& [seen, wanted] = *brought;
    FetchReport report = write(repository, remote, planFetch(seen.refs, *settings, wanted, refs, objects));
    if (auto kept = bringAgain(repository, wanted, way, report); !kept)
        return std::unexpected(kept.error());
    refreshHead(repository, *settings, seen.defaultBranch);
    writeFetchHead(repository, wanted, way.address(), report);
    if (const std::string notice = way.notice(); !notice.empty())
        report.notices.push_back(notice);
    std::ranges::move(settleInterrupted(repository, remote, way), std::back_inserter(report.notices));
    return Fetched{std::move(report), std::move(brought->seen.refs)};
}

Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, const Access& access,
                             const Progress& progress)
{
    auto way = openTransport(repository, remote, access, progress);
    if (!way)
        return std::unexpected(way.error());
    return fetchAndLook(repository, remote, **way, progress);
}

Result<FetchReport> fetchRemote(const Repository& repository, const std::string& remote, const Access& access,
                                const Progress& progress)
{
    auto fetched = fetchAndLook(repository, remote, access, progress);
    if (!fetched)
        return std::unexpected(fetched.error());
    return std::move(fetched->report);
}

} // namespace espalier
