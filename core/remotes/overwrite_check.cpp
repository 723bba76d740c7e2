// SPDX-License-Identifier: MIT
#include "core/remotes/overwrite_check.h"

#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/history/equivalence.h"
#include "core/refs/head.h"
#include "core/remotes/fetching.h"

#include <cctype>
#include <cstdlib>
#include <set>

namespace espalier {

namespace {

constexpr std::size_t maxCommits = 5000;

std::string lower(std::string text)
{
    for (char& c : text)
        c = char(std::tolower(std::uint8_t(c)));
    return text;
}

std::set<std::string> userEmails(const Repository& repository)
{
    std::set<std::string> emails;
    for (const char* key : {"user.email", "author.email", "committer.email"}) {
        if (const auto value = repository.config(key))
            emails.insert(lower(*value));
    }
    for (const char* name : {"GIT_AUTHOR_EMAIL", "GIT_COMMITTER_EMAIL"}) {
        if (const char* value = std::getenv(name); value && *value)
            emails.insert(lower(value));
    }
    return emails;
}

// What `tip` reaches and neither `without` nor the upstream does, newest first.
Result<std::vector<Oid>> onlyIn(const Repository& repository, const Oid& tip, const Oid& without,
                                const std::vector<Oid>& upstream)
{
    std::vector<Oid> commits;
    if (tip.isZero())
        return commits;
    Handle<git_revwalk> walk;
    const git_oid from = toGit(tip);
    if (git_revwalk_new(out(walk), raw(repository)) < 0 || git_revwalk_push(walk.get(), &from) < 0)
        return libgitError("The history cannot be read", tip.hex());
    git_revwalk_sorting(walk.get(), GIT_SORT_TOPOLOGICAL | GIT_SORT_TIME);
    for (const Oid& hidden : upstream) {
        const git_oid id = toGit(hidden);
        git_revwalk_hide(walk.get(), &id);
    }
    if (!without.isZero()) {
        const git_oid id = toGit(without);
        git_revwalk_hide(walk.get(), &id);
    }
    git_oid id;
    while (git_revwalk_next(&id, walk.get()) == 0) {
        if (commits.size() == maxCommits)
            return fail(ErrorKind::Unsupported,
                        "The two versions differ by more than " + std::to_string(maxCommits) + " commits", tip.hex(),
                        "Check that this is the branch you mean");
        commits.push_back(fromGit(id));
    }
    return commits;
}

std::vector<Oid> upstreamTips(const Repository& repository, const std::string& fork)
{
    std::vector<Oid> tips;
    const Roles roles = guessRoles(repository, readRemotes(repository));
    if (roles.upstream.empty() || roles.upstream == fork)
        return tips;
    Handle<git_reference_iterator> refs;
    const std::string pattern = "refs/remotes/" + roles.upstream + "/*";
    if (git_reference_iterator_glob_new(out(refs), raw(repository), pattern.c_str()) < 0)
        return tips;
    for (Handle<git_reference> ref; git_reference_next(out(ref), refs.get()) == 0;) {
        Handle<git_object> commit;
        if (git_reference_peel(out(commit), ref.get(), GIT_OBJECT_COMMIT) == 0)
            tips.push_back(fromGit(*git_object_id(commit.get())));
    }
    return tips;
}

struct Read {
    CheckedCommit checked;
    std::string message; // whole, for pairing
};

Result<std::vector<Read>> readAll(ObjectStore& store, const std::vector<Oid>& ids)
{
    std::vector<Read> all;
    for (const Oid& id : ids) {
        auto commit = readCommit(store, id);
        if (!commit)
            return std::unexpected(commit.error());
        all.push_back({{id, displayText(commit->subject(), 500), displayText(commit->author.name, 200),
                        displayText(commit->author.email, 200), commit->author.when},
                       commit->messageUtf8()});
    }
    return all;
}

Result<void> compare(const Repository& repository, OverwriteCheck& check, const Progress& progress)
{
    const std::vector<Oid> upstream = upstreamTips(repository, check.remote);
    auto oldIds = onlyIn(repository, check.remoteTip, check.localTip, upstream);
    if (!oldIds)
        return std::unexpected(oldIds.error());
    auto newIds = onlyIn(repository, check.localTip, check.remoteTip, upstream);
    if (!newIds)
        return std::unexpected(newIds.error());
    ObjectStore store(repository);
    EquivalenceCache cache;
    auto equal = equalCommits(store, *oldIds, *newIds, cache, progress);
    if (!equal)
        return std::unexpected(equal.error());
    auto olds = readAll(store, *oldIds);
    if (!olds)
        return std::unexpected(olds.error());
    auto news = readAll(store, *newIds);
    if (!news)
        return std::unexpected(news.error());
    std::set<Oid> paired; // of the clone's commits
    const std::set<std::string> emails = userEmails(repository);
    std::vector<const Read*> alone;
    const auto pair = [&](const Read& old, const Read& now, bool same) {
        check.pairs.push_back({old.checked, now.checked, same});
        paired.insert(now.checked.id);
    };
    for (const Read& old : *olds) {
        const auto match = std::ranges::find(*equal, old.checked.id, [](const auto& p) { return p.first; });
        const auto now = match == equal->end()
                             ? news->end()
                             : std::ranges::find(*news, match->second, [](const Read& r) { return r.checked.id; });
        if (now != news->end() && !paired.contains(now->checked.id))
            pair(old, *now, true);
        else
            alone.push_back(&old);
    }
    for (const Read* old : alone) {
        const auto now = std::ranges::find_if(*news, [&](const Read& candidate) {
            return !paired.contains(candidate.checked.id) && candidate.message == old->message &&
                   candidate.checked.author == old->checked.author &&
                   candidate.checked.authorEmail == old->checked.authorEmail;
        });
        if (now != news->end())
            pair(*old, *now, false);
        else if (emails.contains(lower(old->checked.authorEmail)))
            check.removed.push_back(old->checked);
        else
            check.foreign.push_back(old->checked);
    }
    for (const Read& now : *news) {
        if (!paired.contains(now.checked.id))
            check.added.push_back(now.checked);
    }
    return {};
}

void addCautions(OverwriteCheck& check)
{
    const std::string there = displayText(check.remote + "/" + check.branch, 300);
    if (!check.foreign.empty()) {
        std::set<std::string> authors;
        for (const CheckedCommit& commit : check.foreign)
            authors.insert(commit.author);
        std::string names;
        for (const std::string& author : authors)
            names += (names.empty() ? "" : ", ") + author;
        check.cautions.push_back(counted(check.foreign.size(), "commit", "commits") + " of " + displayText(names, 500) +
                                 " would be lost. To keep them, carry them over from " + there +
                                 " onto your branch first");
    }
    if (!check.removed.empty() && !check.fastForward)
        check.cautions.push_back(counted(check.removed.size(), "commit", "commits") + " of yours " +
                                 (check.removed.size() == 1 ? "is" : "are") + " only on " + there +
                                 ", perhaps pushed from another computer");
}

} // namespace

Result<OverwriteCheck> overwriteCheck(const Repository& repository, const std::string& branch, bool fetchFirst,
                                      const Access& access, const Progress& progress)
{
    OverwriteCheck check;
    check.branch = branch;
    check.remote = guessRoles(repository, readRemotes(repository)).fork;
    check.remoteRef = "refs/heads/" + branch;
    if (check.remote.empty())
        return fail(ErrorKind::Refused, "There is no fork to push to", repository.path().string(),
                    "Add a remote and choose it as the fork");
    auto tip = readRef(raw(repository), check.remoteRef);
    if (!tip)
        return std::unexpected(tip.error());
    if (tip->isZero())
        return fail(ErrorKind::NotFound, "There is no such branch", displayText(branch, 300),
                    "Look at the list of branches");
    check.localTip = *tip;
    std::map<std::string, Oid> heads;
    if (fetchFirst) {
        auto fetched = fetchAndLook(repository, check.remote, access, progress);
        if (!fetched)
            return std::unexpected(fetched.error());
        heads = std::move(fetched->heads);
    } else {
        Connection connection(&repository, access, progress);
        if (auto found = connection.find(check.remote); !found)
            return std::unexpected(found.error());
        if (auto opened = connection.open(GIT_DIRECTION_FETCH); !opened)
            return std::unexpected(opened.error());
        auto advertised = connection.heads();
        if (!advertised)
            return std::unexpected(advertised.error());
        heads = std::move(*advertised);
    }
    if (const auto at = heads.find(check.remoteRef); at != heads.end())
        check.remoteTip = at->second;
    check.upToDate = check.remoteTip == check.localTip;
    const git_oid above = toGit(check.localTip), below = toGit(check.remoteTip);
    Handle<git_commit> there;
    if (!check.remoteTip.isZero() && git_commit_lookup(out(there), raw(repository), &below) < 0)
        return fail(ErrorKind::Refused, "The fork's tip was never fetched", check.remoteTip.hex(), "Fetch first");
    check.fastForward =
        check.upToDate || check.remoteTip.isZero() || git_graph_descendant_of(raw(repository), &above, &below) == 1;
    if (!check.upToDate) {
        if (auto compared = compare(repository, check, progress); !compared)
            return std::unexpected(compared.error());
    }
    addCautions(check);
    return check;
}

} // namespace espalier
