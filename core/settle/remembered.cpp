// SPDX-License-Identifier: MIT
#include "core/settle/remembered.h"

#include "core/git/files.h"
#include "core/git/objects.h"
#include "core/settle/stored_json.h"

#include <array>

namespace espalier {

namespace {

namespace fs = std::filesystem;

fs::path settlingFolder(const Repository& repository) { return repository.commonDir() / "espalier" / "settling"; }

// One file a branch and new base; a replay without a branch is known by its tip.
fs::path openFile(const Repository& repository, const ReplayKey& replay)
{
    const std::string name = (replay.branch.empty() ? replay.tip.hex() : replay.branch) + '\n' + replay.onto.hex();
    return settlingFolder(repository) / hashObject(ObjectType::Blob, name).hex();
}

Json editJson(const StretchEdit& edit) { return {{"was", toHex(edit.was)}, {"text", toHex(edit.text)}}; }

std::optional<StretchEdit> editFrom(const Json& json)
{
    const auto was = fromHex(json.value("was", std::string())), text = fromHex(json.value("text", std::string()));
    if (!was || !text)
        return std::nullopt;
    return StretchEdit{*was, *text};
}

Json pieceJson(const SettledPiece& piece)
{
    if (const auto* hunk = std::get_if<SettledHunk>(&piece)) {
        Json json = decisionJson(hunk->decision);
        if (!hunk->texts.isZero())
            json["hunk"] = hunk->texts.hex();
        return json;
    }
    Json json = Json::object();
    const auto& stretch = std::get<SettledStretch>(piece);
    if (stretch.edit)
        json["edit"] = editJson(*stretch.edit);
    if (stretch.waiting) {
        json["waiting"] = editJson(stretch.waiting->edit);
        json["wholeFile"] = stretch.waiting->wholeFile;
    }
    return json;
}

std::optional<SettledPiece> pieceFrom(const Json& json)
{
    if (json.contains("choice")) {
        const auto decision = decisionFrom(json);
        const auto texts = json.contains("hunk") ? Oid::parse(json["hunk"].get<std::string>()) : Oid();
        if (!decision || !texts)
            return std::nullopt;
        return SettledHunk{*texts, *decision};
    }
    SettledStretch stretch;
    if (json.contains("edit")) {
        stretch.edit = editFrom(json["edit"]);
        if (!stretch.edit)
            return std::nullopt;
    }
    if (json.contains("waiting")) {
        const auto edit = editFrom(json["waiting"]);
        if (!edit)
            return std::nullopt;
        stretch.waiting = WaitingEdit{*edit, json.value("wholeFile", false)};
    }
    return stretch;
}

constexpr std::array<std::pair<LineEnds, const char*>, 2> lineEndsNames{
    {{LineEnds::Lf, "lf"}, {LineEnds::CrLf, "cr-lf"}}};
constexpr std::array<std::pair<Encoding, const char*>, 3> encodingNames{
    {{Encoding::Utf8, "utf-8"}, {Encoding::Utf8Mark, "utf-8-mark"}, {Encoding::Latin1, "iso-8859-1"}}};

Json formJson(const FileForm& form)
{
    Json json = Json::object();
    for (const auto& [ends, name] : lineEndsNames)
        if (form.lineEnds == ends)
            json["lineEnds"] = name;
    for (const auto& [encoding, name] : encodingNames)
        if (form.encoding == encoding)
            json["encoding"] = name;
    if (form.mode)
        json["executable"] = *form.mode == FileMode::Executable;
    return json;
}

// What is not known is not settled.
FileForm formFrom(const Json& json)
{
    FileForm form;
    for (const auto& [ends, name] : lineEndsNames)
        if (json.value("lineEnds", std::string()) == name)
            form.lineEnds = ends;
    for (const auto& [encoding, name] : encodingNames)
        if (json.value("encoding", std::string()) == name)
            form.encoding = encoding;
    if (json.contains("executable"))
        form.mode = json["executable"].get<bool>() ? FileMode::Executable : FileMode::File;
    return form;
}

Json cutJson(const HunkCut& cut)
{
    return {{"hunk", cut.hunk.hex()},
            {"which", cut.which},
            {"before", {cut.lines.ancestor, cut.lines.newBase, cut.lines.commit}}};
}

// Nothing where it is not what cutJson() gives.
std::optional<HunkCut> cutFrom(const Json& json)
{
    const auto hunk = Oid::parse(json.value("hunk", std::string()));
    const Json before = json.value("before", Json::array());
    if (!hunk || before.size() != 3)
        return std::nullopt;
    const HunkCut cut{
        *hunk, json.value("which", 0), {before[0].get<int>(), before[1].get<int>(), before[2].get<int>()}};
    const bool lines = cut.which >= 0 && cut.lines.ancestor >= 0 && cut.lines.newBase >= 0 && cut.lines.commit >= 0;
    return lines ? std::optional(cut) : std::nullopt;
}

// Stretches and hunks in turn, or one hunk; anything else is not what was written. In another form nothing may be left to ask.
bool inTurn(const std::vector<SettledPiece>& pieces, const FileForm& form)
{
    if (pieces.size() == 1 && !form.any())
        return std::holds_alternative<SettledHunk>(pieces[0]);
    for (std::size_t i = 0; i < pieces.size(); ++i)
        if (std::holds_alternative<SettledHunk>(pieces[i]) != (i % 2 == 1))
            return false;
    return pieces.size() % 2 == 1;
}

// The form before: a decision a hunk, and over them, where something outside the hunks was edited too, the whole file.
// Which of it was edited shows only when the merge is at hand (stillHolding); until then all of it is to be looked at.
std::optional<std::vector<SettledPiece>> piecesFromHunks(const Json& json)
{
    const Json hunks = json.value("hunks", Json::array()), texts = json.value("hunkTexts", Json::array());
    std::vector<SettledPiece> pieces{SettledStretch{}};
    for (std::size_t i = 0; i < hunks.size(); ++i) {
        const auto decision = decisionFrom(hunks[i]);
        const auto named = i < texts.size() ? Oid::parse(texts[i].get<std::string>()) : Oid();
        if (!decision || !named)
            return std::nullopt;
        pieces.emplace_back(SettledHunk{*named, *decision});
        pieces.emplace_back(SettledStretch{});
    }
    if (!json.contains("wholeText"))
        return pieces;
    const auto whole = fromHex(json.value("wholeText", std::string()));
    if (!whole)
        return std::nullopt;
    std::get<SettledStretch>(pieces[0]).waiting = WaitingEdit{{{}, *whole}, true};
    return pieces;
}

std::optional<std::pair<SettlementKey, FileSettlement>> settlementFrom(const Json& json)
{
    const auto id = [&](const char* key) { return Oid::parse(json.value(key, std::string())); };
    const auto commit = id("of"), ancestor = id("ancestor"), newBase = id("newBase"), yours = id("commit");
    const auto path = fromHex(json.value("path", std::string()));
    if (!commit || !ancestor || !newBase || !yours || !path)
        return std::nullopt;
    FileSettlement settlement{{*ancestor, *newBase, *yours}};
    if (json.contains("form"))
        settlement.form = formFrom(json["form"]);
    if (json.contains("hunks")) {
        auto pieces = piecesFromHunks(json);
        if (!pieces)
            return std::nullopt;
        settlement.pieces = std::move(*pieces);
    }
    for (const Json& one : json.value("pieces", Json::array())) {
        auto piece = pieceFrom(one);
        if (!piece)
            return std::nullopt;
        settlement.pieces.push_back(std::move(*piece));
    }
    for (const Json& one : json.value("cuts", Json::array())) {
        const auto cut = cutFrom(one);
        if (!cut)
            return std::nullopt;
        settlement.cuts.push_back(*cut);
    }
    if (!inTurn(settlement.pieces, settlement.form))
        return std::nullopt;
    return std::pair(SettlementKey{*commit, *path}, std::move(settlement));
}

} // namespace

Settlements loadOpenSettlements(const Repository& repository, const ReplayKey& replay)
{
    const auto bytes = readFileBounded(openFile(repository, replay), largestDecisionFile);
    if (!bytes)
        return {};
    Settlements settlements;
    try {
        const Json json = Json::parse(*bytes);
        if (json.value("tip", std::string()) != replay.tip.hex())
            return {}; // the branch moved: other commits, other conflicts
        for (const Json& one : json.value("files", Json::array()))
            if (auto read = settlementFrom(one))
                settlements = settlements.with(read->first, std::move(read->second));
    } catch (const Json::exception&) {
        return {}; // damaged: the hunks are undecided again, nothing else is lost
    }
    return settlements;
}

Result<void> saveOpenSettlements(const Repository& repository, const ReplayKey& replay, const Settlements& settlements)
{
    Json files = Json::array();
    for (const auto& [key, settlement] : settlements.files()) {
        Json one{{"of", key.commit.hex()},
                 {"path", toHex(key.path)},
                 {"ancestor", settlement.blobs.ancestor.hex()},
                 {"newBase", settlement.blobs.newBase.hex()},
                 {"commit", settlement.blobs.commit.hex()},
                 {"pieces", Json::array()}};
        for (const SettledPiece& piece : settlement.pieces)
            one["pieces"].push_back(pieceJson(piece));
        if (settlement.form.any())
            one["form"] = formJson(settlement.form);
        for (const HunkCut& cut : settlement.cuts)
            one["cuts"].push_back(cutJson(cut));
        files.push_back(std::move(one));
    }
    const Json json{{"tip", replay.tip.hex()}, {"files", std::move(files)}};
    return keepFile(openFile(repository, replay), json.dump(), "The decision cannot be kept: ");
}

Result<void> forgetOpenSettlements(const Repository& repository, const ReplayKey& replay)
{
    const fs::path path = openFile(repository, replay);
    std::error_code failed;
    fs::remove(path, failed);
    if (failed)
        return fail(ErrorKind::Storage, "The open settlement cannot be removed", path.string(),
                    "Check the permissions of the repository");
    return {};
}

} // namespace espalier
