// SPDX-License-Identifier: MIT
#include "core/settle/stored_json.h"

#include "core/git/files.h"

namespace espalier {

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

Result<void> keepFile(const std::filesystem::path& path, std::string_view bytes, const char* failing)
{
    auto kept = makeFolders(path.parent_path()).and_then([&] { return writeFileAtomically(path, bytes); });
    if (kept)
        return kept;
    const auto stands = readFileBounded(path, largestDecisionFile);
    const bool isThere = stands && *stands == bytes;
    return fail(kept.error().kind,
                (isThere ? "The decision is kept, but a power cut may take it: " : failing) + kept.error().what,
                kept.error().on, kept.error().remedy);
}

} // namespace espalier
