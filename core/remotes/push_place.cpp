// SPDX-License-Identifier: MIT
#include "core/remotes/push_place.h"

#include "core/git/text.h"
#include "core/history/places.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"

namespace espalier {

namespace {

// The ref that remote.<name>.push sends a branch to; empty: none of them speaks of it. git's refspecs of a push read the same way
// as those of a fetch; a source or destination may be a short name.
Result<std::string> mappedBy(const Repository& repository, const std::string& remote, const std::string& ref)
{
    std::string found;
    std::vector<Refspec> specs;
    for (const std::string& text : configValues(repository, "remote." + remote + ".push")) {
        auto spec = Refspec::parse(text);
        if (!spec)
            return std::unexpected(spec.error());
        specs.push_back(std::move(*spec));
    }
    for (const Refspec& spec : specs) {
        if (spec.negative || !found.empty())
            continue;
        if (spec.pattern) {
            found = spec.destinationOf(ref).value_or("");
            continue;
        }
        if (spec.source != ref && branchRef(spec.source) != ref)
            continue;
        found = spec.destination.empty() ? ref : spec.destination;
        if (!found.starts_with("refs/"))
            found = branchRef(found);
    }
    return isLeftOut(specs, ref) ? std::string() : found;
}

} // namespace

Result<PushPlace> pushPlace(const Repository& repository, const std::string& branch, const std::string& remote)
{
    PushPlace place{remote, branchRef(branch)};
    const std::vector<Remote> remotes = readRemotes(repository);
    const std::string own = "branch." + branch + ".";
    const std::string chosen = repository.config(own + "pushRemote").value_or("");
    if (place.remote.empty())
        place.remote = chosen.empty() ? guessRoles(repository, remotes).fork : chosen;
    if (place.remote.empty())
        return fail(ErrorKind::Refused, "There is no fork to push to", repository.path().string(),
                    "Add a remote and choose it as the fork");
    if (!std::ranges::contains(remotes, place.remote, &Remote::name))
        return fail(ErrorKind::NotFound, "There is no such remote", displayText(withoutSecret(place.remote), 200),
                    place.remote == chosen ? "Correct " + displayText(own, 200) + "pushRemote: it takes a remote's name"
                                           : "Look at the list of remotes");
    auto mapped = mappedBy(repository, place.remote, place.ref);
    if (!mapped)
        return std::unexpected(mapped.error());
    const std::string rule = repository.config("push.default").value_or("");
    const std::vector<std::string> merges = configValues(repository, own + "merge");
    if (!mapped->empty())
        place.ref = *mapped;
    else if ((rule == "upstream" || rule == "tracking") && merges.size() == 1 &&
             repository.config(own + "remote").value_or("") == place.remote)
        place.ref = merges.front();
    if (!place.ref.starts_with(headsPrefix))
        return fail(ErrorKind::Refused, "Your settings push " + displayText(branch, 300) + " to what is no branch",
                    displayText(place.ref, 300),
                    "Push it with git; Espalier compares and moves branches only. The setting is remote." +
                        displayText(place.remote, 100) + ".push");
    return place;
}

Result<Advertised> lookWherePushed(const Repository& repository, Transport& way, const std::vector<std::string>& refs,
                                   bool bring)
{
    const auto sides = way.pushAddresses();
    if (!sides)
        return std::unexpected(sides.error());
    std::optional<Advertised> first;
    for (std::size_t side = 0; side < sides->size(); ++side) {
        auto seen = way.lookWhereItPushes(side, refs);
        if (!seen)
            return seen;
        if (first && *first != *seen)
            return fail(ErrorKind::Refused, "The addresses that it pushes to hold different commits of the branch",
                        (*sides)[side], "Bring them together with git push first");
        first = std::move(*seen);
    }
    if (!first || !bring)
        return first.value_or(Advertised{});
    std::vector<WantedRef> unknown;
    for (const auto& [name, id] : *first)
        if (!hasCommit(repository, id))
            unknown.push_back({name, id, {}, false, false});
    if (auto got = unknown.empty() ? Result<void>{} : way.get(unknown); !got)
        return std::unexpected(got.error());
    return std::move(*first);
}

} // namespace espalier
