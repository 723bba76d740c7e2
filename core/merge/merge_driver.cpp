// SPDX-License-Identifier: MIT
#include "core/merge/merge_driver.h"

#include "core/git/files.h"
#include "core/git/handles.h"
#include "core/git/process.h"
#include "core/git/temporary_folder.h"
#include "core/git/text.h"

#include <cstdlib>

#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t largestResult = std::size_t(1) << 30;

// The command line with what git puts in for its letters; another letter stays as it is.
std::string expanded(const std::string& command, const std::map<char, std::string>& words)
{
    std::string text;
    for (std::size_t i = 0; i < command.size(); ++i) {
        const auto word = command[i] == '%' && i + 1 < command.size() ? words.find(command[i + 1]) : words.end();
        if (word == words.end())
            text += command[i];
        else
            text += word->second;
        i += word != words.end();
    }
    return text;
}

} // namespace

std::map<std::string, std::string> configuredDrivers(const Repository& repository)
{
    std::map<std::string, std::string> drivers;
    Handle<git_config> config;
    Handle<git_config_iterator> entries;
    if (git_repository_config(out(config), raw(repository)) < 0 ||
        git_config_iterator_new(out(entries), config.get()) < 0)
        return drivers;
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, entries.get()) == 0) {
        constexpr std::string_view before = "merge.", behind = ".driver";
        const std::string_view key = entry->name;
        if (key.starts_with(before) && key.ends_with(behind) && key.size() > before.size() + behind.size())
            drivers[std::string(key.substr(before.size(), key.size() - before.size() - behind.size()))] =
                entry->value ? entry->value : "";
    }
    std::erase_if(drivers, [](const auto& driver) { return driver.second.empty(); });
    return drivers;
}

Result<DriverOutput> runMergeDriver(const Repository& repository, const std::string& command, const DriverInput& input,
                                    const Progress& progress)
{
    const TemporaryFolder folder("espalier-merge");
    const auto noRoom = [](const fs::path& at) {
        return fail(ErrorKind::Storage, "A temporary file cannot be written", at.string(), "Check the space in TMPDIR");
    };
    if (folder.path().empty())
        return noRoom("TMPDIR");
    std::map<char, std::string> words{
        {'L', std::to_string(input.markerSize)}, {'P', shellQuoted(input.path)},        {'S', shellQuoted("base")},
        {'X', shellQuoted(input.newBaseLabel)},  {'Y', shellQuoted(input.commitLabel)}, {'%', "%"}};
    for (const auto& [letter, text] :
         {std::pair('O', input.base), std::pair('A', input.newBase), std::pair('B', input.commit)}) {
        const fs::path file = folder.path() / std::string(1, letter);
        if (!writeFileAtomically(file, text))
            return noRoom(file);
        words[letter] = shellQuoted(file.string());
    }
    progress.report("Running a merge driver");
    const auto ended = run({.argv = shellCommand(expanded(command, words)),
                            .folder = repository.isBare() ? repository.gitDir() : repository.workDir(),
                            .stop = progress.stop});
    if (!ended)
        return std::unexpected(ended.error());
    // Beyond 128 it did not come to a result (git's ll-merge.c).
    auto result = readFileBounded(folder.path() / "A", largestResult);
    if (ended->exitCode > 128 || !result) {
        const std::string why = ended->lastWords();
        return fail(ErrorKind::Refused, "The merge driver failed" + (why.empty() ? "" : " [" + why + "]"),
                    displayText(input.path, 300), "Correct merge.<name>.driver, or leave out --run-drivers");
    }
    return DriverOutput{std::move(*result), ended->exitCode == 0};
}

std::string withPlainLines(std::string_view text, bool guessed)
{
    std::string plain;
    plain.reserve(text.size());
    for (std::size_t i = 0; i < text.size(); ++i) {
        const bool pair = text[i] == '\r' && i + 1 < text.size() && text[i + 1] == '\n';
        // git's convert.c: a zero byte or a carriage return of its own is no text's.
        if (guessed && (text[i] == '\0' || (text[i] == '\r' && !pair)))
            return std::string(text);
        if (!pair)
            plain += text[i];
    }
    return plain;
}

} // namespace espalier
