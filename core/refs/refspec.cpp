// SPDX-License-Identifier: MIT
#include "core/refs/refspec.h"

#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <algorithm>

namespace espalier {

namespace {

// What the '*' of a pattern stands for in a name; nothing when it does not match.
std::optional<std::string_view> starOf(std::string_view pattern, std::string_view name)
{
    const std::size_t star = pattern.find('*');
    const std::string_view before = pattern.substr(0, star), after = pattern.substr(star + 1);
    if (name.size() < before.size() + after.size() || !name.starts_with(before) || !name.ends_with(after))
        return std::nullopt;
    return name.substr(before.size(), name.size() - before.size() - after.size());
}

std::string withStar(std::string_view pattern, std::string_view star)
{
    const std::size_t at = pattern.find('*');
    return std::string(pattern.substr(0, at)).append(star).append(pattern.substr(at + 1));
}

// From a pattern or name on one side to the other; both sides have a '*' or neither.
std::optional<std::string> carried(bool pattern, std::string_view from, std::string_view to, std::string_view name)
{
    if (!pattern)
        return name == from ? std::optional(std::string(to)) : std::nullopt;
    const auto star = starOf(from, name);
    return star ? std::optional(withStar(to, *star)) : std::nullopt;
}

bool isWellFormed(std::string_view side)
{
    std::string name(side);
    std::ranges::replace(name, '*', 'x');
    // A short name ("main") is one too; the remote finds what it stands for.
    return std::ranges::count(side, '*') <= 1 && isRefName("refs/heads/" + name);
}

// git-fetch(1): a destination that is not a full name is a branch.
std::string fullDestination(std::string destination)
{
    if (destination.empty() || destination.starts_with("refs/"))
        return destination;
    for (const std::string_view start : {"heads/", "tags/", "remotes/"})
        if (destination.starts_with(start))
            return "refs/" + destination;
    return branchRef(destination);
}

} // namespace

Result<Refspec> Refspec::parse(std::string_view text)
{
    const auto bad = [&] {
        return fail(ErrorKind::Usage, "This is not a refspec of a fetch", displayText(text, 300),
                    "See git help fetch, 'refspec', and correct the remote's fetch setting");
    };
    Refspec spec;
    std::string_view rest = text;
    spec.force = rest.starts_with('+');
    spec.negative = rest.starts_with('^');
    if (spec.force || spec.negative)
        rest.remove_prefix(1);
    const std::size_t colon = rest.rfind(':');
    const bool both = colon != std::string_view::npos;
    spec.source = rest.substr(0, colon);
    spec.destination = both ? rest.substr(colon + 1) : std::string_view();
    spec.pattern = spec.source.contains('*');
    if (spec.negative && (both || spec.source.empty()))
        return bad();
    if (!spec.negative && spec.pattern != spec.destination.contains('*'))
        return bad();
    if (spec.source.empty() || spec.source == "@")
        spec.source = "HEAD";
    if (!isWellFormed(spec.source) || (!spec.destination.empty() && !isWellFormed(spec.destination)))
        return bad();
    spec.destination = fullDestination(std::move(spec.destination));
    return spec;
}

std::string Refspec::text() const
{
    return (negative ? "^" : force ? "+" : "") + source + (destination.empty() ? "" : ":" + destination);
}

bool Refspec::matches(std::string_view ref) const { return pattern ? starOf(source, ref).has_value() : ref == source; }

std::optional<std::string> Refspec::destinationOf(std::string_view ref) const
{
    if (negative)
        return std::nullopt;
    return destination.empty() ? (matches(ref) ? std::optional(std::string()) : std::nullopt)
                               : carried(pattern, source, destination, ref);
}

std::optional<std::string> Refspec::sourceOf(std::string_view ref) const
{
    if (negative || destination.empty())
        return std::nullopt;
    return carried(pattern, destination, source, ref);
}

bool isLeftOut(const std::vector<Refspec>& specs, std::string_view ref)
{
    return std::ranges::any_of(specs, [&](const Refspec& spec) { return spec.negative && spec.matches(ref); });
}

std::string destinationOf(const std::vector<Refspec>& specs, std::string_view ref)
{
    if (isLeftOut(specs, ref))
        return {};
    for (const Refspec& spec : specs) {
        if (auto destination = spec.destinationOf(ref); destination && !destination->empty())
            return *destination;
    }
    return {};
}

bool isFetchable(std::string_view ref) { return ref.starts_with(trackingPrefix) || ref.starts_with(tagsPrefix); }

} // namespace espalier
