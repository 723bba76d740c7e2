// SPDX-License-Identifier: MIT
#include "core/settle/memory_store.h"

#include "core/git/files.h"
#include "core/settle/stored_json.h"

#include <algorithm>
#include <chrono>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t largestFile = 16 * largestRemembered; // four texts in hexadecimal, and room

fs::path folderOf(const Repository& repository) { return repository.commonDir() / "espalier" / "remembered"; }

struct Kept {
    fs::path file;
    Oid name;
    std::int64_t when = 0; // last written
};

// Newest first.
std::vector<Kept> keptFiles(const Repository& repository)
{
    std::vector<Kept> kept;
    std::error_code failed;
    for (fs::directory_iterator at(folderOf(repository), failed), end; !failed && at != end; at.increment(failed)) {
        const auto name = Oid::parse(at->path().filename().string());
        std::error_code unknown;
        const auto written = at->last_write_time(unknown);
        if (!name || unknown)
            continue;
        const auto since = std::chrono::file_clock::to_sys(written).time_since_epoch();
        kept.push_back({at->path(), *name, std::chrono::duration_cast<std::chrono::seconds>(since).count()});
    }
    std::ranges::sort(kept, [](const Kept& a, const Kept& b) { return a.when > b.when; });
    return kept;
}

} // namespace

std::string formatSettledBefore(const SettledBefore& settled)
{
    Json json = decisionJson(settled.decision);
    if (settled.sides) {
        json["ancestor"] = toHex(settled.sides->ancestor);
        json["newBase"] = toHex(settled.sides->newBase);
        json["commit"] = toHex(settled.sides->commit);
    }
    json["path"] = toHex(settled.path);
    json["branch"] = toHex(settled.branch);
    json["subject"] = toHex(settled.subject);
    json["of"] = settled.commit.hex();
    json["when"] = settled.when;
    return json.dump();
}

std::optional<SettledBefore> parseSettledBefore(std::string_view bytes, const Oid& name)
{
    try {
        const Json json = Json::parse(bytes);
        const auto decision = decisionFrom(json);
        if (!decision || decision->choice == Choice::Undecided)
            return std::nullopt;
        const auto field = [&](const char* key) { return fromHex(json.value(key, std::string())); };
        auto ancestor = field("ancestor"), newBase = field("newBase"), commit = field("commit");
        auto path = field("path"), branch = field("branch"), subject = field("subject");
        const auto of = json.contains("of") ? Oid::parse(json["of"].get<std::string>()) : Oid();
        if (!ancestor || !newBase || !commit || !path || !branch || !subject || !of)
            return std::nullopt;
        SettledBefore settled{name,    std::nullopt, *decision, *path,
                              *branch, *of,          *subject,  json.value("when", std::int64_t(0))};
        if (json.contains("newBase")) {
            // Sides of another hunk would be offered where they never met.
            if (textsOfHunk(*ancestor, *newBase, *commit) != name)
                return std::nullopt;
            settled.sides = SettledBefore::Sides{std::move(*ancestor), std::move(*newBase), std::move(*commit)};
        }
        return settled;
    } catch (const Json::exception&) {
        return std::nullopt;
    }
}

Memory readMemory(const Repository& repository, std::int64_t now)
{
    std::vector<SettledBefore> all;
    for (const Kept& kept : keptFiles(repository)) {
        if (all.size() >= mostRemembered)
            break;
        const auto bytes = readFileBounded(kept.file, largestFile);
        auto settled = bytes ? parseSettledBefore(*bytes, kept.name) : std::nullopt;
        if (!settled)
            continue;
        if (settled->when == 0) // the older form says nothing of it
            settled->when = kept.when;
        if (settled->when > now - rememberedFor)
            all.push_back(std::move(*settled));
    }
    std::ranges::reverse(all);
    return Memory(std::move(all));
}

Result<void> remember(const Repository& repository, const SettledBefore& settled, std::int64_t now)
{
    if (settled.decision.choice == Choice::Undecided)
        return {};
    SettledBefore kept = settled;
    if (kept.sides &&
        kept.sides->ancestor.size() + kept.sides->newBase.size() + kept.sides->commit.size() > largestRemembered)
        kept.sides.reset();
    if (kept.decision.text.size() > largestRemembered)
        return {};
    for (std::string* words : {&kept.path, &kept.branch, &kept.subject})
        words->resize(std::min<std::size_t>(words->size(), 4'000));
    const std::vector<Kept> before = keptFiles(repository);
    for (std::size_t i = 0; i < before.size(); ++i)
        if (i + 1 >= mostRemembered || before[i].when <= now - rememberedFor) {
            std::error_code ignored; // it is too old to be offered, removed or not
            fs::remove(before[i].file, ignored);
        }
    return keepFile(folderOf(repository) / settled.name.hex(), formatSettledBefore(kept),
                    "The decision cannot be remembered for another replay: ");
}

Result<void> forget(const Repository& repository, const Oid& name)
{
    const fs::path file = folderOf(repository) / name.hex();
    if (const int failed = removeSurely(file); failed != 0)
        return storageError("What was settled before cannot be forgotten", file, failed);
    return {};
}

} // namespace espalier
