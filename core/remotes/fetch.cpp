// SPDX-License-Identifier: MIT
#include "core/remotes/fetch.h"

#include "core/git/text.h"
#include "core/history/ref_reader.h"
#include "core/keep/branch_config.h"
#include "core/keep/open_entries.h"
#include "core/refs/ref_locks.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"

namespace espalier {

namespace {

// refs/remotes/<remote>/HEAD says which branch everybody builds on; it follows the remote.
void refreshHead(const Repository& repository, const FetchSettings& settings, const std::string& defaultBranch)
{
    const std::string target = defaultBranch.empty() ? defaultBranch : destinationOf(settings.specs, defaultBranch);
    Handle<git_reference> there, ref, old;
    if (!target.starts_with(trackingPrefix) || git_reference_lookup(out(there), raw(repository), target.c_str()) < 0)
        return;
    const std::string head = std::string(trackingPrefix) + settings.remote + "/HEAD";
    if (git_reference_lookup(out(old), raw(repository), head.c_str()) == 0 &&
        (git_reference_type(old.get()) != GIT_REFERENCE_SYMBOLIC || target == git_reference_symbolic_target(old.get())))
        return;
    git_reference_symbolic_create(out(ref), raw(repository), head.c_str(), target.c_str(), 1, "espalier: fetch");
}

// Pushes of which a crash or a broken connection left it open whether they arrived: now it shows.
void settleInterrupted(const Repository& repository, const std::string& remote, const std::map<std::string, Oid>& heads)
{
    for (const std::string& id : openEntryIds(repository)) {
        const auto entry = findEntry(repository, id);
        if (!entry || entry->state != EntryState::Begun || entry->remote != remote)
            continue;
        const bool arrived = std::ranges::all_of(entry->moves, [&](const RefMove& move) {
            const auto at = heads.find(move.name);
            return (at == heads.end() ? Oid{} : at->second) == move.now;
        });
        (void)setEntryState(repository, *entry, arrived ? EntryState::Done : EntryState::Undone);
    }
}

Result<std::vector<Refspec>> refspecsOf(git_remote* remote)
{
    StringArray texts;
    if (git_remote_get_fetch_refspecs(&texts, remote) < 0)
        return libgitError("The remote's settings cannot be read");
    std::vector<Refspec> specs;
    for (std::size_t i = 0; i < texts.count; ++i) {
        auto spec = Refspec::parse(texts.strings[i]);
        if (!spec)
            return std::unexpected(spec.error());
        specs.push_back(std::move(*spec));
    }
    return specs;
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

FetchedObjects objectsOf(const Repository& repository)
{
    const auto commitOf = [&repository](const Oid& id) {
        Handle<git_object> object, commit;
        const git_oid raw = toGit(id);
        const bool peels = git_object_lookup(out(object), espalier::raw(repository), &raw, GIT_OBJECT_ANY) == 0 &&
                           git_object_peel(out(commit), object.get(), GIT_OBJECT_COMMIT) == 0;
        return peels ? fromGit(*git_object_id(commit.get())) : Oid{};
    };
    const auto descends = [&repository](const Oid& above, const Oid& below) {
        const git_oid to = toGit(above), from = toGit(below);
        return git_graph_descendant_of(raw(repository), &to, &from) == 1;
    };
    return {[&repository](const Oid& id) { return hasObject(repository, id); }, commitOf, descends};
}

// A remote that has a lot of news is asked by its refspecs: naming each ref costs the other side's refs times these.
constexpr std::size_t mostNamed = 500;

Result<void> download(const Repository& repository, Connection& connection, const FetchSettings& settings,
                      const std::vector<WantedRef>& wanted)
{
    std::vector<std::string> names;
    for (const WantedRef& ref : wanted)
        if (!hasObject(repository, ref.id))
            names.push_back(ref.source);
    if (names.empty())
        return {};
    if (names.size() > mostNamed) {
        std::erase_if(names, [](const std::string& name) { return !name.starts_with(tagsPrefix); });
        for (const Refspec& spec : settings.specs)
            if (!spec.negative)
                names.push_back(spec.text());
    }
    std::vector<char*> specs;
    for (std::string& name : names)
        specs.push_back(name.data());
    const git_strarray list{specs.data(), specs.size()};
    git_fetch_options options = GIT_FETCH_OPTIONS_INIT;
    options.callbacks = connection.callbacks(connection.url(GIT_DIRECTION_FETCH));
    options.proxy_opts.type = GIT_PROXY_AUTO;
    if (git_remote_download(connection.remote(), &list, &options) < 0)
        return connection.error("The fetch failed");
    Handle<git_odb> odb;
    if (git_repository_odb(out(odb), raw(repository)) == 0)
        git_odb_refresh(odb.get());
    return {};
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
void moveRefs(const Repository& repository, const std::vector<RefMove>& moves, FetchReport& report)
{
    const auto together = [&](const std::vector<RefMove>& some) -> Result<void> {
        auto locks = RefLocks::take(raw(repository), some);
        if (!locks)
            return std::unexpected(locks.error());
        return locks->commit("espalier: fetch");
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
    moveRefs(repository, plan.moves, report);
    return report;
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

Result<FetchSettings> fetchSettings(const Repository& repository, git_remote* remote)
{
    FetchSettings settings;
    settings.remote = git_remote_name(remote) ? git_remote_name(remote) : "";
    auto specs = refspecsOf(remote);
    if (!specs)
        return std::unexpected(specs.error());
    settings.specs = std::move(*specs);
    const std::string own = "remote." + settings.remote + ".";
    settings.prune = repository.configBool(own + "prune", repository.configBool("fetch.prune", false));
    if (repository.configBool(own + "pruneTags", repository.configBool("fetch.pruneTags", false)))
        settings.specs.push_back({"refs/tags/*", "refs/tags/*", false, false, true});
    const std::string tags = repository.config(own + "tagOpt").value_or("");
    settings.tags = tags == "--tags"      ? FetchSettings::Tags::All
                    : tags == "--no-tags" ? FetchSettings::Tags::None
                                          : FetchSettings::Tags::Followed;
    const auto head = readHead(raw(repository));
    const std::string branch = head ? shortBranchName(head->text) : std::string();
    if (!branch.empty()) {
        for (auto& [key, value] : readBranchConfig(repository, branch, false)) {
            if (key == "branch." + branch + ".merge")
                settings.merges.push_back(std::move(value));
            else if (key == "branch." + branch + ".remote")
                settings.mergesHere = value == settings.remote;
        }
    }
    settings.mergesHere = settings.mergesHere && !settings.merges.empty();
    return settings;
}

std::string trackingRef(git_remote* remote, const std::string& ref)
{
    const auto specs = refspecsOf(remote);
    const std::string name = specs ? destinationOf(*specs, ref) : std::string();
    return name.starts_with(trackingPrefix) ? name : std::string();
}

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

Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, const Access& access,
                             const Progress& progress)
{
    Connection connection(&repository, access, progress);
    if (auto found = connection.find(remote); !found)
        return std::unexpected(found.error());
    progress.report("Connecting");
    if (auto opened = connection.open(GIT_DIRECTION_FETCH); !opened)
        return std::unexpected(opened.error());
    auto heads = connection.heads();
    if (!heads)
        return std::unexpected(heads.error());
    auto settings = fetchSettings(repository, connection.remote());
    if (!settings)
        return std::unexpected(settings.error());
    auto wanted = wantedRefs(*heads, *settings);
    if (!wanted)
        return std::unexpected(wanted.error());
    const StandingRefs refs = standingRefs(repository);
    const FetchedObjects objects = objectsOf(repository);
    for (WantedRef& tag : followedTags(*heads, *settings, *wanted, refs, objects.has))
        wanted->push_back(std::move(tag));
    if (auto got = download(repository, connection, *settings, *wanted); !got)
        return std::unexpected(got.error());
    Buffer name;
    const std::string defaultBranch =
        git_remote_default_branch(&name, connection.remote()) == 0 ? name.str() : std::string();
    git_remote_disconnect(connection.remote());
    // Only what came shows which other tags stand for something that is here now.
    if (const auto more = followedTags(*heads, *settings, *wanted, refs, objects.has); !more.empty()) {
        wanted->insert(wanted->end(), more.begin(), more.end());
        Connection again(&repository, access, progress);
        if (auto found = again.find(remote); !found)
            return std::unexpected(found.error());
        if (auto got = download(repository, again, *settings, *wanted); !got)
            return std::unexpected(got.error());
    }
    if (progress.stopped())
        return cancelled();
    FetchReport report = write(repository, remote, planFetch(*heads, *settings, *wanted, refs, objects));
    refreshHead(repository, *settings, defaultBranch);
    writeFetchHead(repository, *wanted, connection.url(GIT_DIRECTION_FETCH), report);
    settleInterrupted(repository, remote, *heads);
    return Fetched{std::move(report), std::move(*heads)};
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
