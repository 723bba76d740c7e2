// SPDX-License-Identifier: MIT
#include "core/history/search.h"

#include "core/git/commit.h"
#include "core/tree/entry.h"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <unordered_map>

namespace espalier {

namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? char(c + 32) : c; }

std::string lowered(std::string_view text)
{
    std::string result(text);
    std::ranges::transform(result, result.begin(), lower);
    return result;
}

// `needle` is in lower case already.
bool holds(std::string_view text, std::string_view needle)
{
    return !std::ranges::search(text, needle, [](char a, char b) { return lower(a) == b; }).empty() || needle.empty();
}

std::vector<std::string> tokens(std::string_view text)
{
    std::vector<std::string> result;
    std::string token;
    bool quoted = false;
    for (char c : text) {
        if (c == '"')
            quoted = !quoted;
        else if (!quoted && (c == ' ' || c == '\t')) {
            if (!token.empty())
                result.push_back(std::move(token));
            token.clear();
        } else
            token += c;
    }
    if (!token.empty())
        result.push_back(std::move(token));
    return result;
}

std::optional<std::int64_t> dayOf(std::string_view text)
{
    int parts[3] = {0, 1, 1};
    const char* at = text.data();
    const char* end = at + text.size();
    for (int k = 0; k < 3; ++k) {
        const auto [next, error] = std::from_chars(at, end, parts[k]);
        if (error != std::errc{})
            return std::nullopt;
        at = next;
        if (at == end)
            break;
        if (*at++ != '-' || k == 2)
            return std::nullopt;
    }
    const std::chrono::year_month_day day{std::chrono::year(parts[0]), std::chrono::month(unsigned(parts[1])),
                                          std::chrono::day(unsigned(parts[2]))};
    if (!day.ok() || parts[0] < 1970 || parts[0] > 9999)
        return std::nullopt;
    return std::chrono::duration_cast<std::chrono::seconds>(std::chrono::sys_days(day).time_since_epoch()).count();
}

bool isHexPrefix(std::string_view text)
{
    return text.size() <= 40 && std::ranges::all_of(text, [](char c) {
               return (c >= '0' && c <= '9') || (lower(c) >= 'a' && lower(c) <= 'f');
           });
}

// Which object a path names in the trees of commits; trees seen before are not walked again.
class PathFinder {
  public:
    PathFinder(ObjectStore& store, std::string_view path) : m_store(store)
    {
        while (!path.empty()) {
            const std::size_t slash = path.find('/');
            if (slash != 0)
                m_parts.emplace_back(path.substr(0, slash));
            path.remove_prefix(slash == std::string_view::npos ? path.size() : slash + 1);
        }
    }
    // Zero where the path does not exist.
    Oid in(const Oid& rootTree)
    {
        if (const auto known = m_known.find(rootTree); known != m_known.end())
            return known->second;
        Oid id = rootTree;
        for (const std::string& part : m_parts) {
            id = entry(id, part);
            if (id.isZero())
                break;
        }
        constexpr std::size_t mostKept = 200000;
        if (m_known.size() >= mostKept)
            m_known.clear();
        return m_known[rootTree] = id;
    }

  private:
    Oid entry(const Oid& tree, const std::string& name)
    {
        const auto object = m_store.read(tree, ObjectType::Tree);
        if (!object)
            return {};
        const auto entries = parseTree(object->view());
        if (!entries)
            return {};
        for (const TreeEntry& each : *entries)
            if (each.name == name)
                return each.id;
        return {};
    }
    ObjectStore& m_store;
    std::vector<std::string> m_parts;
    std::unordered_map<Oid, Oid> m_known;
};

bool changesPath(ObjectStore& store, PathFinder& finder, const Commit& commit)
{
    const Oid here = finder.in(commit.tree);
    if (commit.parents.empty())
        return !here.isZero();
    // A merge changes a path when it differs from every parent (as git's history simplification has it).
    return std::ranges::all_of(commit.parents, [&](const Oid& id) {
        const auto parent = readCommit(store, id);
        return parent && finder.in(parent->tree) != here;
    });
}

bool matchesHeader(const Snapshot& snapshot, const SearchQuery& query, Row row)
{
    const std::int64_t time = snapshot.history.time(row);
    if (query.since && time < *query.since)
        return false;
    if (query.until && time >= *query.until)
        return false;
    if (query.place && !(snapshot.placesOf(row) & placeBit(*query.place)))
        return false;
    return query.id.empty() || snapshot.history.id(row).hex().starts_with(query.id);
}

bool matchesText(const SearchQuery& query, const Commit& commit)
{
    if (!query.person.empty() && !holds(commit.author.name, query.person) &&
        !holds(commit.author.email, query.person) && !holds(commit.committer.name, query.person) &&
        !holds(commit.committer.email, query.person))
        return false;
    const std::string hex = commit.id.hex();
    return std::ranges::all_of(query.words, [&](const std::string& word) {
        return holds(commit.message, word) || (word.size() >= 4 && hex.starts_with(word));
    });
}

} // namespace

Result<SearchQuery> parseSearch(std::string_view text)
{
    constexpr std::int64_t daySeconds = 86400;
    SearchQuery query;
    for (const std::string& token : tokens(text)) {
        const std::size_t colon = token.find(':');
        const std::string key = colon == std::string::npos ? std::string() : lowered(token.substr(0, colon));
        const std::string value = colon == std::string::npos ? std::string() : token.substr(colon + 1);
        if (key == "person") {
            query.person = lowered(value);
        } else if (key == "path") {
            query.path = value;
        } else if (key == "id") {
            if (!isHexPrefix(value))
                return fail(ErrorKind::Usage, "This is no id", value, "Give its first digits");
            query.id = lowered(value);
        } else if (key == "since" || key == "until") {
            const auto day = dayOf(value);
            if (!day && !value.empty())
                return fail(ErrorKind::Usage, "This is no date", value, "Write it as 2024-01-31");
            if (day)
                (key == "since" ? query.since : query.until) = key == "since" ? *day : *day + daySeconds;
        } else if (key == "in") {
            for (Place place : {Place::Upstream, Place::Fork, Place::Clone})
                if (lowered(value) == placeName(place))
                    query.place = place;
            if (!query.place && !value.empty())
                return fail(ErrorKind::Usage, "This is no place", value, "Write upstream, fork or clone");
        } else {
            query.words.push_back(lowered(token));
        }
    }
    return query;
}

Result<std::vector<Row>> search(const Repository& repository, const Snapshot& snapshot, const SearchQuery& query,
                                const Progress& progress)
{
    std::vector<Row> rows;
    if (query.empty())
        return rows;
    ObjectStore store(repository);
    PathFinder finder(store, query.path);
    const bool reads = !query.words.empty() || !query.person.empty() || !query.path.empty();
    for (Row row = 0; row < snapshot.history.size(); ++row) {
        if (row % 512 == 0) {
            if (progress.stopped())
                return cancelled();
            progress.report("Searching", row, snapshot.history.size());
        }
        if (!matchesHeader(snapshot, query, row))
            continue;
        if (reads) {
            const auto commit = readCommit(store, snapshot.history.id(row));
            if (!commit || !matchesText(query, *commit))
                continue;
            if (!query.path.empty() && !changesPath(store, finder, *commit))
                continue;
        }
        rows.push_back(row);
    }
    return rows;
}

} // namespace espalier
