// SPDX-License-Identifier: MIT
#include "core/git/text.h"
#include "core/keep/branch_config.h"
#include "core/refs/head.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"

namespace espalier {

std::vector<std::string> configValues(const Repository& repository, const std::string& key)
{
    std::vector<std::string> values;
    Handle<git_config> config;
    Handle<git_config_iterator> iterator;
    if (git_repository_config_snapshot(out(config), raw(repository)) < 0 ||
        git_config_multivar_iterator_new(out(iterator), config.get(), key.c_str(), nullptr) < 0)
        return values;
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, iterator.get()) == 0)
        values.emplace_back(entry->value ? entry->value : "");
    return values;
}

Result<std::vector<Refspec>> fetchRefspecs(const Repository& repository, const std::string& remote)
{
    std::vector<Refspec> specs;
    for (const std::string& text : configValues(repository, "remote." + remote + ".fetch")) {
        auto spec = Refspec::parse(text);
        if (!spec)
            return std::unexpected(spec.error());
        specs.push_back(std::move(*spec));
    }
    return specs;
}

Result<FetchSettings> fetchSettings(const Repository& repository, const std::string& remote)
{
    FetchSettings settings;
    settings.remote = remote;
    auto specs = fetchRefspecs(repository, remote);
    if (!specs)
        return std::unexpected(specs.error());
    settings.specs = std::move(*specs);
    const std::string own = "remote." + settings.remote + ".";
    settings.prune = repository.configBool(own + "prune", repository.configBool("fetch.prune", false));
    if (repository.configBool(own + "pruneTags", repository.configBool("fetch.pruneTags", false)))
        settings.specs.push_back({"refs/tags/*", "refs/tags/*", false, false, true});
    const std::string tags = repository.config(own + "tagOpt").value_or("");
    settings.tags = tags == "--tags"      ? FetchSettings::Tags::All
                    : tags == "--no-tags" ? FetchSettings::Tags::None
                                          : FetchSettings::Tags::Followed;
    const auto head = readHead(raw(repository));
    const std::string branch = head ? shortBranchName(head->text) : std::string();
    if (!branch.empty()) {
        for (auto& [key, value] : readBranchConfig(repository, branch, false)) {
            if (key == "branch." + branch + ".merge")
                settings.merges.push_back(std::move(value));
            else if (key == "branch." + branch + ".remote")
                settings.mergesHere = value == settings.remote;
        }
    }
    settings.mergesHere = settings.mergesHere && !settings.merges.empty();
    return settings;
}

std::string trackingRef(const Repository& repository, const std::string& remote, const std::string& ref)
{
    const auto specs = fetchRefspecs(repository, remote);
    const std::string name = specs ? destinationOf(*specs, ref) : std::string();
    return name.starts_with(trackingPrefix) ? name : std::string();
}

bool hasCommit(const Repository& repository, const Oid& id)
{
    Handle<git_commit> commit;
    const git_oid raw = toGit(id);
    return git_commit_lookup(out(commit), espalier::raw(repository), &raw) == 0;
}

bool descendsFrom(const Repository& repository, const Oid& above, const Oid& below)
{
    const git_oid a = toGit(above), b = toGit(below);
    return above == below || git_graph_descendant_of(raw(repository), &a, &b) == 1;
}

Oid mergeBase(const Repository& repository, const Oid& a, const Oid& b)
{
    const git_oid one = toGit(a), other = toGit(b);
    git_oid base;
    return git_merge_base(&base, raw(repository), &one, &other) == 0 ? fromGit(base) : Oid();
}

} // namespace espalier
