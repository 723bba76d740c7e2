// SPDX-License-Identifier: MIT
#include "core/settle/remembered.h"

#include "core/git/files.h"
#include "core/git/objects.h"

#include <nlohmann/json.hpp>

namespace espalier {

namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

// What is read back may have been changed by others: nothing larger than this is looked at.
constexpr std::size_t largestFile = std::size_t(64) << 20;

fs::path settlingFolder(const Repository& repository) { return repository.commonDir() / "espalier" / "settling"; }
fs::path rememberedFolder(const Repository& repository) { return repository.commonDir() / "espalier" / "remembered"; }

// Bytes are not always UTF-8, JSON strings are.
std::string toHex(std::string_view bytes)
{
    constexpr std::string_view digits = "0123456789abcdef";
    std::string hex;
    hex.reserve(bytes.size() * 2);
    for (const char c : bytes) {
        hex += digits[static_cast<unsigned char>(c) >> 4];
        hex += digits[static_cast<unsigned char>(c) & 15];
    }
    return hex;
}

std::optional<std::string> fromHex(std::string_view hex)
{
    const auto valueOf = [](char c) {
        return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
    };
    if (hex.size() % 2)
        return std::nullopt;
    std::string bytes;
    bytes.reserve(hex.size() / 2);
    for (std::size_t i = 0; i < hex.size(); i += 2) {
        const int high = valueOf(hex[i]), low = valueOf(hex[i + 1]);
        if (high < 0 || low < 0)
            return std::nullopt;
        bytes += char(high * 16 + low);
    }
    return bytes;
}

Json decisionJson(const HunkDecision& decision)
{
    Json json{{"choice", choiceName(decision.choice)}};
    if (decision.choice == Choice::Typed)
        json["text"] = toHex(decision.text);
    return json;
}

std::optional<HunkDecision> decisionFrom(const Json& json)
{
    const auto choice = choiceFromName(json.value("choice", std::string()));
    const auto text = fromHex(json.value("text", std::string()));
    if (!choice || !text)
        return std::nullopt;
    return HunkDecision{*choice, *text};
}

// A decision that a power cut loses would be asked for again: written whole and durable.
Result<void> keepFile(const fs::path& path, std::string_view bytes)
{
    auto made = makeFolders(path.parent_path());
    return made ? writeFileAtomically(path, bytes) : made;
}

// One file a branch and new base; a plan without a branch is known by its tip.
fs::path openFile(const Repository& repository, const Plan& plan)
{
    const std::string name = (plan.branch.empty() ? plan.tip.hex() : plan.branch) + '\n' + plan.onto.hex();
    return settlingFolder(repository) / hashObject(ObjectType::Blob, name).hex();
}

fs::path hunkFile(const Repository& repository, const ConflictHunk& hunk)
{
    return rememberedFolder(repository) / textsOfHunk(hunk.ancestorText, hunk.newBaseText, hunk.commitText).hex();
}

std::optional<std::pair<SettlementKey, FileSettlement>> settlementFrom(const Json& json)
{
    const auto id = [&](const char* key) { return Oid::parse(json.value(key, std::string())); };
    const auto commit = id("of"), ancestor = id("ancestor"), newBase = id("newBase"), yours = id("commit");
    const auto path = fromHex(json.value("path", std::string()));
    if (!commit || !ancestor || !newBase || !yours || !path)
        return std::nullopt;
    FileSettlement settlement{*ancestor, *newBase, *yours, {}, std::nullopt};
    for (const Json& one : json.value("hunks", Json::array())) {
        auto decision = decisionFrom(one);
        if (!decision)
            return std::nullopt;
        settlement.hunks.push_back(std::move(*decision));
    }
    for (const Json& one : json.value("hunkTexts", Json::array())) {
        const auto texts = Oid::parse(one.get<std::string>());
        if (!texts)
            return std::nullopt;
        settlement.hunkTexts.push_back(*texts);
    }
    if (json.contains("wholeText")) {
        settlement.wholeText = fromHex(json.value("wholeText", std::string()));
        if (!settlement.wholeText)
            return std::nullopt;
    }
    return std::pair(SettlementKey{*commit, *path}, std::move(settlement));
}

} // namespace

Settlements loadOpenSettlements(const Repository& repository, const Plan& plan)
{
    const auto bytes = readFileBounded(openFile(repository, plan), largestFile);
    if (!bytes)
        return {};
    Settlements settlements;
    try {
        const Json json = Json::parse(*bytes);
        if (json.value("tip", std::string()) != plan.tip.hex())
            return {}; // the branch moved: other commits, other conflicts
        for (const Json& one : json.value("files", Json::array()))
            if (auto read = settlementFrom(one))
                settlements = settlements.with(read->first, std::move(read->second));
    } catch (const Json::exception&) {
        return {}; // damaged: the hunks are undecided again, nothing else is lost
    }
    return settlements;
}

Result<void> saveOpenSettlements(const Repository& repository, const Plan& plan, const Settlements& settlements)
{
    Json files = Json::array();
    for (const auto& [key, settlement] : settlements.files()) {
        Json one{{"of", key.commit.hex()},
                 {"path", toHex(key.path)},
                 {"ancestor", settlement.ancestor.hex()},
                 {"newBase", settlement.newBase.hex()},
                 {"commit", settlement.commit.hex()},
                 {"hunks", Json::array()}};
        for (const HunkDecision& hunk : settlement.hunks)
            one["hunks"].push_back(decisionJson(hunk));
        for (const Oid& texts : settlement.hunkTexts)
            one["hunkTexts"].push_back(texts.hex());
        if (settlement.wholeText)
            one["wholeText"] = toHex(*settlement.wholeText);
        files.push_back(std::move(one));
    }
    const Json json{{"tip", plan.tip.hex()}, {"files", std::move(files)}};
    return keepFile(openFile(repository, plan), json.dump());
}

Result<void> forgetOpenSettlements(const Repository& repository, const Plan& plan)
{
    const fs::path path = openFile(repository, plan);
    std::error_code failed;
    fs::remove(path, failed);
    if (failed)
        return fail(ErrorKind::Storage, "The open settlement cannot be removed", path.string(),
                    "Check the permissions of the repository");
    return {};
}

std::optional<HunkDecision> recall(const Repository& repository, const ConflictHunk& hunk)
{
    const auto bytes = readFileBounded(hunkFile(repository, hunk), largestFile);
    if (!bytes)
        return std::nullopt;
    try {
        return decisionFrom(Json::parse(*bytes));
    } catch (const Json::exception&) {
        return std::nullopt;
    }
}

Result<void> remember(const Repository& repository, const ConflictHunk& hunk, const HunkDecision& decision)
{
    if (decision.choice == Choice::Undecided)
        return {};
    return keepFile(hunkFile(repository, hunk), decisionJson(decision).dump());
}

} // namespace espalier
