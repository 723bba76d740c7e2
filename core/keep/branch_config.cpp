// SPDX-License-Identifier: MIT
#include "core/keep/branch_config.h"

#include "core/git/config_edit.h"
#include "core/git/handles.h"
#include "core/history/places.h"
#include "core/refs/ref_name.h"

namespace espalier {

namespace {

Result<Handle<git_config>> ownConfig(const Repository& repository)
{
    Handle<git_config> all, own;
    if (git_repository_config(out(all), raw(repository)) < 0 ||
        git_config_open_level(out(own), all.get(), GIT_CONFIG_LEVEL_LOCAL) < 0)
        return libgitError("The repository's settings cannot be read", repository.path().string());
    return own;
}

std::string prefixOf(const std::string& branch) { return "branch." + branch + "."; }

} // namespace

ConfigLines readBranchConfig(const Repository& repository, const std::string& branch, bool redacted)
{
    ConfigLines lines;
    auto config = ownConfig(repository);
    Handle<git_config_iterator> iterator;
    if (!config || git_config_iterator_new(out(iterator), config->get()) < 0)
        return lines;
    const std::string prefix = prefixOf(branch);
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, iterator.get()) == 0) {
        const std::string name = entry->name;
        // A dot in the rest would belong to a branch with a longer name.
        if (name.starts_with(prefix) && name.find('.', prefix.size()) == std::string::npos) {
            const std::string value = entry->value ? entry->value : "true";
            lines.emplace_back(name, redacted ? withoutSecret(value) : value);
        }
    }
    return lines;
}

namespace {

Result<void> removeLines(git_config* config, const ConfigLines& lines)
{
    for (const auto& [key, value] : lines) {
        const int code = git_config_delete_multivar(config, key.c_str(), ".*");
        if (code < 0 && code != GIT_ENOTFOUND)
            return libgitError("The setting cannot be removed", key, "Check that the repository's config is writable");
    }
    return {};
}

Result<void> addLines(git_config* config, const ConfigLines& lines, const ConfigLines& there)
{
    for (const auto& [key, value] : lines) {
        if (std::ranges::find(there, std::pair(key, value)) != there.end())
            continue;
        // No value matches this expression, so the line is added beside those of the same key.
        if (git_config_set_multivar(config, key.c_str(), "^$a", value.c_str()) < 0)
            return libgitError("The setting cannot be written", key, "Check that the repository's config is writable");
    }
    return {};
}

std::string branchOf(const std::string& key) { return key.substr(7, key.rfind('.') - 7); }

} // namespace

Result<void> removeBranchConfig(const Repository& repository, const std::string& branch)
{
    const ConfigLines lines = readBranchConfig(repository, branch, false);
    if (lines.empty())
        return {};
    return editConfig(repository, [&](git_config* config) { return removeLines(config, lines); });
}

Result<void> addConfigLines(const Repository& repository, const ConfigLines& lines)
{
    if (lines.empty())
        return {};
    ConfigLines there;
    for (const auto& [key, value] : lines)
        for (auto& line : readBranchConfig(repository, branchOf(key), false))
            there.push_back(std::move(line));
    return editConfig(repository, [&](git_config* config) { return addLines(config, lines, there); });
}

Result<void> renameBranchConfig(const Repository& repository, const std::string& from, const std::string& to)
{
    const ConfigLines before = readBranchConfig(repository, from, false);
    if (before.empty())
        return {};
    ConfigLines after = before;
    for (auto& [key, value] : after)
        key = prefixOf(to) + key.substr(prefixOf(from).size());
    const ConfigLines there = readBranchConfig(repository, to, false);
    return editConfig(repository, [&](git_config* config) {
        return addLines(config, after, there).and_then([&] { return removeLines(config, before); });
    });
}

std::optional<std::pair<std::string, std::string>> renameIn(const std::vector<RefMove>& moves)
{
    if (moves.size() != 2)
        return std::nullopt;
    const RefMove& gone = moves[0].now.isZero() ? moves[0] : moves[1];
    const RefMove& come = moves[0].now.isZero() ? moves[1] : moves[0];
    if (!gone.now.isZero() || !come.old.isZero() || gone.old != come.now || gone.old.isZero())
        return std::nullopt;
    return std::pair(shortBranchName(gone.name), shortBranchName(come.name));
}

} // namespace espalier
