// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "core/samples/samples.h"

namespace espalier {

namespace {

void listThem(bool json)
{
    nlohmann::json rows = nlohmann::json::array();
    for (const SampleInfo& sample : listSamples()) {
        if (json)
            rows.push_back({{"name", sample.name}, {"summary", sample.summary}});
        else
            printLine(sample.name + std::string(sample.name.size() < 16 ? 16 - sample.name.size() : 1, ' ') +
                      sample.summary);
    }
    if (json)
        printJson(rows);
}

} // namespace

Result<ExitStatus> runSample(const Arguments& arguments)
{
    if (arguments.has("list")) {
        listThem(arguments.has("json"));
        return exitDone;
    }
    const auto sample = buildSample(arguments.word(0), arguments.word(1));
    if (!sample)
        return std::unexpected(sample.error());
    if (arguments.has("json"))
        printJson({{"upstream", jsonText(sample->upstream.string())},
                   {"fork", jsonText(sample->fork.string())},
                   {"clone", jsonText(sample->clone.string())}});
    else
        printLine("Built " + sample->clone.string() + " with its upstream and fork.");
    return exitDone;
}

} // namespace espalier
