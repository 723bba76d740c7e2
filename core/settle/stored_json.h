// SPDX-License-Identifier: MIT
//
// What the files of decisions have in common: bytes in JSON, and how a file is kept. Private to core/settle.
//
//     Json json = decisionJson(decision);
//     std::optional<HunkDecision> again = decisionFrom(json);
#pragma once

#include "core/git/error.h"
#include "core/settle/settlements.h"

#include <nlohmann/json.hpp>

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace espalier {

using Json = nlohmann::json;

// What is read back may have been changed by others: nothing larger than this is looked at.
inline constexpr std::size_t largestDecisionFile = std::size_t(64) << 20;

// Bytes are not always UTF-8, JSON strings are. Nothing where it is not what toHex() gives.
std::string toHex(std::string_view bytes);
std::optional<std::string> fromHex(std::string_view hex);

Json decisionJson(const HunkDecision& decision);
// Nothing where it names no decision; throws Json::exception where a value is of another type.
std::optional<HunkDecision> decisionFrom(const Json& json);

// A decision that a power cut loses would be asked for again: written whole and durable. `failing`: what is said when it is not
// kept. A disk that fails after the file has its name leaves it there, and then that is said. Errors: Storage.
Result<void> keepFile(const std::filesystem::path& path, std::string_view bytes, const char* failing);

} // namespace espalier
