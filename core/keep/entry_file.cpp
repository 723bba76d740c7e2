// SPDX-License-Identifier: MIT
#include "core/keep/entry_file.h"

#include "core/git/text.h"

#include <nlohmann/json.hpp>

#include <charconv>
#include <ctime>

namespace espalier {

namespace {

using Json = nlohmann::json;

constexpr std::array kinds{EntryKind::Replay, EntryKind::Update,  EntryKind::Push, EntryKind::Restore,
                           EntryKind::Branch, EntryKind::CleanUp, EntryKind::Fetch};
constexpr std::array states{EntryState::Begun, EntryState::Done, EntryState::Undone, EntryState::TakenBack};

Json textToJson(std::string_view bytes)
{
    if (isUtf8(bytes))
        return std::string(bytes);
    constexpr std::string_view digits = "0123456789abcdef";
    std::string hex;
    for (const char c : bytes) {
        hex += digits[std::uint8_t(c) >> 4];
        hex += digits[std::uint8_t(c) & 15];
    }
    return Json{{"bytes", hex}};
}

// Readers throw std::exception on anything unexpected; parseEntry turns it into an Error.
std::string textFromJson(const Json& json)
{
    if (json.is_string())
        return json.get<std::string>();
    const auto hex = json.at("bytes").get<std::string>();
    std::string bytes;
    for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
        std::uint8_t value = 0;
        const auto [end, error] = std::from_chars(hex.data() + i, hex.data() + i + 2, value, 16);
        if (error != std::errc{} || end != hex.data() + i + 2)
            throw std::invalid_argument("bytes");
        bytes += char(value);
    }
    return bytes;
}

Json idToJson(const Oid& id) { return id.isZero() ? Json(nullptr) : Json(id.hex()); }

Oid idFromJson(const Json& json)
{
    if (json.is_null())
        return {};
    const auto id = Oid::parse(json.get<std::string>());
    if (!id)
        throw std::invalid_argument("id");
    return *id;
}

template <typename Values, typename Name> auto valueNamed(const Values& values, Name name, const std::string& text)
{
    for (const auto value : values) {
        if (name(value) == text)
            return value;
    }
    throw std::invalid_argument("name");
}

LogbookEntry entryFromJson(const Json& json)
{
    LogbookEntry entry;
    entry.id = json.at("entry").get<std::string>();
    entry.kind = valueNamed(kinds, entryKindName, json.at("kind").get<std::string>());
    entry.state = valueNamed(states, entryStateName, json.at("state").get<std::string>());
    entry.when = json.at("when").get<std::int64_t>();
    entry.title = textFromJson(json.at("title"));
    if (json.contains("who"))
        entry.who = textFromJson(json.at("who"));
    entry.remote = textFromJson(json.at("remote"));
    if (json.contains("folders"))
        for (const Json& folder : json.at("folders"))
            entry.folders.push_back(textFromJson(folder));
    entry.headBefore = textFromJson(json.at("headBefore"));
    entry.takesBack = json.at("takesBack").get<std::string>();
    for (const Json& move : json.at("refs"))
        entry.moves.push_back({textFromJson(move.at("name")), idFromJson(move.at("old")), idFromJson(move.at("new"))});
    for (const Json& pair : json.at("pairs"))
        entry.pairs.emplace_back(idFromJson(pair.at(0)), idFromJson(pair.at(1)));
    for (const Json& pair : json.at("branchConfig"))
        entry.branchConfig.emplace_back(textFromJson(pair.at(0)), textFromJson(pair.at(1)));
    if (const Json& worktree = json.at("worktree"); !worktree.is_null()) {
        entry.worktree = {textFromJson(worktree.at("gitDir")), idFromJson(worktree.at("from")),
                          idFromJson(worktree.at("to")), textFromJson(worktree.at("headAfter"))};
    }
    return entry;
}

} // namespace

std::string formatEntry(const LogbookEntry& entry)
{
    Json moves = Json::array(), pairs = Json::array(), config = Json::array(), folders = Json::array();
    for (const RefMove& move : entry.moves)
        moves.push_back({{"name", textToJson(move.name)}, {"old", idToJson(move.old)}, {"new", idToJson(move.now)}});
    for (const std::string& folder : entry.folders)
        folders.push_back(textToJson(folder));
    for (const auto& [old, now] : entry.pairs)
        pairs.push_back(Json::array({idToJson(old), idToJson(now)}));
    for (const auto& [key, value] : entry.branchConfig)
        config.push_back(Json::array({textToJson(key), textToJson(value)}));
    Json worktree;
    if (!entry.worktree.gitDir.empty()) {
        worktree = {{"gitDir", textToJson(entry.worktree.gitDir)},
                    {"from", idToJson(entry.worktree.from)},
                    {"to", idToJson(entry.worktree.to)},
                    {"headAfter", textToJson(entry.worktree.headAfter)}};
    }
    const Json json{{"entry", entry.id},
                    {"kind", entryKindName(entry.kind)},
                    {"state", entryStateName(entry.state)},
                    {"when", entry.when},
                    {"who", textToJson(entry.who)},
                    {"title", textToJson(entry.title)},
                    {"remote", textToJson(entry.remote)},
                    {"folders", std::move(folders)},
                    {"headBefore", textToJson(entry.headBefore)},
                    {"takesBack", entry.takesBack},
                    {"refs", std::move(moves)},
                    {"pairs", std::move(pairs)},
                    {"branchConfig", std::move(config)},
                    {"worktree", std::move(worktree)}};
    return json.dump(1, '\t') + '\n';
}

Result<LogbookEntry> parseEntry(std::string_view text, const std::string& id)
{
    constexpr int maxDepth = 8;
    try {
        // Depth is bounded before the text is trusted: a file of a million brackets must not exhaust the stack.
        const auto shallow = [](int depth, Json::parse_event_t, Json&) {
            if (depth > maxDepth)
                throw std::invalid_argument("depth");
            return true;
        };
        LogbookEntry entry = entryFromJson(Json::parse(text, shallow));
        if (entry.id == id)
            return entry;
    } catch (const std::exception&) {
        // The library's text is of no use to the user; the line below says what is.
    }
    return fail(ErrorKind::Broken, "This entry of the logbook is damaged", id,
                "The tips it kept are under refs/espalier/kept/" + id);
}

bool isEntryId(std::string_view id)
{
    const auto digits = [](std::string_view part) {
        return !part.empty() && std::ranges::all_of(part, [](char c) { return c >= '0' && c <= '9'; });
    };
    return id.size() >= 17 && id.size() <= 25 && id[8] == '-' && id[15] == '-' && digits(id.substr(0, 8)) &&
           digits(id.substr(9, 6)) && digits(id.substr(16));
}

std::string entryTime(std::int64_t when)
{
    const std::time_t time = when;
    std::tm parts{};
    ::gmtime_r(&time, &parts);
    char text[32];
    std::strftime(text, sizeof text, "%Y%m%d-%H%M%S", &parts);
    return text;
}

bool isOlderEntry(std::string_view a, std::string_view b)
{
    const std::string_view aTime = a.substr(0, 15), bTime = b.substr(0, 15);
    if (aTime != bTime)
        return aTime < bTime;
    return a.size() != b.size() ? a.size() < b.size() : a < b;
}

} // namespace espalier
