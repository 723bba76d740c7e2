// SPDX-License-Identifier: MIT
#include "core/remotes/fetch_plan.h"

#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <set>

namespace espalier {

namespace {

constexpr std::string_view peeledMark = "^{}";

std::string shown(std::string_view text) { return displayText(text, 300); }

// gitrevisions(7): the order in which a short name is looked up.
Advertised::const_iterator findShort(const Advertised& advertised, const std::string& name)
{
    for (const auto& [before, after] : {std::pair("", ""),
                                        {"refs/", ""},
                                        {"refs/tags/", ""},
                                        {"refs/heads/", ""},
                                        {"refs/remotes/", ""},
                                        {"refs/remotes/", "/HEAD"}}) {
        if (const auto at = advertised.find(before + name + after); at != advertised.end())
            return at;
    }
    return advertised.end();
}

Result<void> addMatches(const Advertised& advertised, const FetchSettings& settings, const Refspec& spec,
                        std::vector<WantedRef>& wanted)
{
    if (spec.negative)
        return {};
    if (!spec.pattern) {
        const auto at = findShort(advertised, spec.source);
        if (at == advertised.end())
            return fail(ErrorKind::NotFound, "The remote has no such ref", shown(spec.source),
                        "Correct remote." + shown(settings.remote) + ".fetch");
        wanted.push_back({at->first, at->second, spec.destination, spec.force, false});
        return {};
    }
    for (const auto& [name, id] : advertised) {
        if (name.ends_with(peeledMark))
            continue;
        if (auto destination = spec.destinationOf(name); destination && isRefName(*destination))
            wanted.push_back({name, id, std::move(*destination), spec.force, false});
    }
    return {};
}

// branch.<name>.merge: what a pull would merge is fetched, and marked in FETCH_HEAD.
void addMerges(const Advertised& advertised, const FetchSettings& settings, std::vector<WantedRef>& wanted)
{
    for (const std::string& merge : settings.merges) {
        const auto at = findShort(advertised, merge);
        if (at == advertised.end())
            continue;
        const auto there = std::ranges::find(wanted, at->first, &WantedRef::source);
        if (there != wanted.end())
            there->forMerge = true;
        else
            wanted.push_back({at->first, at->second, {}, false, true});
    }
}

Result<void> dropDoubles(std::vector<WantedRef>& wanted)
{
    std::map<std::string, std::string> sources; // by destination
    std::vector<WantedRef> kept;
    for (WantedRef& ref : wanted) {
        if (!ref.destination.empty()) {
            const auto [at, fresh] = sources.emplace(ref.destination, ref.source);
            if (!fresh && at->second != ref.source)
                return fail(ErrorKind::Refused,
                            "Both " + shown(at->second) + " and " + shown(ref.source) + " of the remote would go here",
                            shown(ref.destination), "Correct the remote's fetch setting");
            if (!fresh)
                continue;
        }
        kept.push_back(std::move(ref));
    }
    wanted = std::move(kept);
    return {};
}

// Refs here that a refspec owns and that the remote has no more.
std::vector<std::string> findGone(const FetchSettings& settings, const std::vector<WantedRef>& wanted,
                                  const StandingRefs& refs)
{
    std::set<std::string_view> there;
    for (const WantedRef& ref : wanted)
        there.insert(ref.source);
    std::vector<std::string> gone;
    for (const auto& [name, standing] : refs) {
        if (standing.symbolic || !isFetchable(name))
            continue;
        bool owned = false, stays = false;
        for (const Refspec& spec : settings.specs) {
            if (const auto source = spec.sourceOf(name)) {
                owned = true;
                stays = stays || there.contains(*source) || isLeftOut(settings.specs, *source);
            }
        }
        if (owned && !stays)
            gone.push_back(name);
    }
    return gone;
}

void addUpdate(const WantedRef& ref, const StandingRefs& refs, const FetchedObjects& objects,
               std::set<std::string>& names, FetchPlan& plan)
{
    const auto at = refs.find(ref.destination);
    const bool pruned = std::ranges::contains(plan.pruned, ref.destination, &RefMove::name);
    const Oid old = at == refs.end() || pruned ? Oid{} : at->second.id;
    if (at != refs.end() && at->second.symbolic) {
        plan.notices.push_back(shown(ref.destination) + " only points at another ref, so it was left as it is");
        return;
    }
    if (old == ref.id)
        return;
    const RefMove move{ref.destination, old, ref.id};
    if (old.isZero()) {
        const std::string other = inTheWay(names, ref.destination);
        if (!other.empty()) {
            plan.notices.push_back(shown(ref.destination) + " could not be written while " + shown(other) +
                                   " stands; git remote prune, or fetch.prune, takes away what the remote has no more");
            return;
        }
        names.insert(ref.destination);
        plan.moves.push_back(move);
        return;
    }
    if (ref.destination.starts_with(tagsPrefix)) {
        if (ref.force)
            plan.replaced.push_back(move);
        else
            plan.notices.push_back("The tag " + shown(ref.destination.substr(tagsPrefix.size())) +
                                   " is another one on the remote; yours was kept");
        return;
    }
    const Oid from = objects.commitOf(old), to = objects.commitOf(ref.id);
    const bool commits = !from.isZero() && !to.isZero();
    if (commits && (from == to || objects.descends(to, from)))
        plan.moves.push_back(move);
    else if (ref.force || !commits)
        plan.replaced.push_back(move);
    else
        plan.notices.push_back(shown(ref.destination) +
                               " was rewritten on the remote and stays as it is: its refspec has no '+'");
}

std::string noteFor(const std::string& source, const std::string& url)
{
    if (source == "HEAD")
        return url;
    for (const auto& [start, word] :
         {std::pair("refs/heads/", "branch "), {"refs/tags/", "tag "}, {"refs/remotes/", "remote-tracking branch "}}) {
        if (source.starts_with(start))
            return word + ("'" + source.substr(std::string_view(start).size())) + "' of " + url;
    }
    return "'" + source + "' of " + url;
}

} // namespace

Result<std::vector<WantedRef>> wantedRefs(const Advertised& advertised, const FetchSettings& settings)
{
    std::vector<WantedRef> wanted;
    bool first = true;
    for (const Refspec& spec : settings.specs) {
        if (auto added = addMatches(advertised, settings, spec, wanted); !added)
            return std::unexpected(added.error());
        if (first && settings.merges.empty() && !wanted.empty() && !spec.pattern)
            wanted.front().forMerge = true;
        first = false;
    }
    if (settings.mergesHere) {
        addMerges(advertised, settings, wanted);
    } else if (settings.specs.empty()) {
        if (const auto head = advertised.find("HEAD"); head != advertised.end())
            wanted.push_back({"HEAD", head->second, {}, false, true});
    }
    if (settings.tags == FetchSettings::Tags::All) {
        const Refspec tags{"refs/tags/*", "refs/tags/*", false, false, true};
        if (auto added = addMatches(advertised, settings, tags, wanted); !added)
            return std::unexpected(added.error());
    }
    std::erase_if(wanted, [&](const WantedRef& ref) { return isLeftOut(settings.specs, ref.source); });
    if (auto unique = dropDoubles(wanted); !unique)
        return std::unexpected(unique.error());
    return wanted;
}

std::vector<WantedRef> followedTags(const Advertised& advertised, const FetchSettings& settings,
                                    const std::vector<WantedRef>& wanted, const StandingRefs& refs,
                                    const std::function<bool(const Oid&)>& has)
{
    std::vector<WantedRef> tags;
    if (settings.tags != FetchSettings::Tags::Followed ||
        std::ranges::all_of(settings.specs, [](const Refspec& spec) { return spec.destination.empty(); }))
        return tags;
    std::set<Oid> coming;
    std::set<std::string_view> there;
    for (const WantedRef& ref : wanted) {
        coming.insert(ref.id);
        there.insert(ref.source);
    }
    for (auto at = advertised.lower_bound(std::string(tagsPrefix));
         at != advertised.end() && at->first.starts_with(tagsPrefix); ++at) {
        const auto& [name, id] = *at;
        if (name.ends_with(peeledMark) || refs.contains(name) || there.contains(name) || !isRefName(name) ||
            isLeftOut(settings.specs, name))
            continue;
        const auto peeled = advertised.find(name + std::string(peeledMark));
        const Oid target = peeled == advertised.end() ? id : peeled->second;
        if (coming.contains(target) || coming.contains(id) || has(target) || has(id))
            tags.push_back({name, id, name, false, false});
    }
    return tags;
}

FetchPlan planFetch(const Advertised& advertised, const FetchSettings& settings, const std::vector<WantedRef>& wanted,
                    const StandingRefs& refs, const FetchedObjects& objects)
{
    FetchPlan plan;
    const bool speaks = std::ranges::any_of(advertised, [](const auto& ref) { return ref.first.starts_with("refs/"); });
    std::vector<std::string> gone = findGone(settings, wanted, refs);
    if (settings.prune && speaks) {
        for (const std::string& name : gone)
            plan.pruned.push_back({name, refs.at(name).id, Oid{}});
    } else {
        if (settings.prune && !gone.empty())
            plan.notices.push_back("The remote shows no branch at all, so nothing was pruned");
        plan.gone = std::move(gone);
    }
    std::set<std::string> names;
    for (const auto& [name, standing] : refs)
        names.insert(name);
    for (const RefMove& move : plan.pruned)
        names.erase(move.name);
    bool outside = false;
    for (const WantedRef& ref : wanted) {
        if (ref.destination.empty())
            continue;
        if (isFetchable(ref.destination))
            addUpdate(ref, refs, objects, names, plan);
        else
            outside = true;
    }
    if (outside)
        plan.notices.push_back("nothing was written outside refs/remotes/ and refs/tags/, though remote." +
                               shown(settings.remote) + ".fetch asks for it; set it to +refs/heads/*:refs/remotes/" +
                               shown(settings.remote) + "/*");
    return plan;
}

std::string formatFetchHead(const std::vector<WantedRef>& wanted, std::string url,
                            const std::function<Oid(const Oid&)>& commitOf)
{
    while (url.ends_with('/'))
        url.pop_back();
    if (url.ends_with(".git"))
        url.resize(url.size() - 4);
    std::string lines[2];
    for (const WantedRef& ref : wanted) {
        const bool merge = ref.forMerge && !commitOf(ref.id).isZero();
        lines[merge ? 0 : 1] +=
            ref.id.hex() + "\t" + (merge ? "" : "not-for-merge") + "\t" + noteFor(ref.source, url) + "\n";
    }
    return lines[0] + lines[1];
}

} // namespace espalier
