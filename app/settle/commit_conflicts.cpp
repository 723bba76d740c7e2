// SPDX-License-Identifier: MIT
#include "app/settle/commit_conflicts.h"

#include <algorithm>

namespace espalier {

Result<CommitConflicts> readConflicts(const std::string& path, const std::shared_ptr<const DryRun>& run,
                                      std::size_t commit, const Progress& progress)
{
    const auto repository = Repository::open(path);
    if (!repository)
        return std::unexpected(repository.error());
    const ReplayedCommit& replayed = run->commits[commit];
    CommitConflicts read;
    read.commit = commit;
    read.m_id = replayed.id;
    read.m_inputs = CommitConflicts::inputsOf(replayed);
    for (std::size_t i = 0; i < replayed.conflicts.size(); ++i) {
        auto text = conflictText(*repository, *run, commit, i, progress);
        if (!text)
            return std::unexpected(text.error());
        const auto asked = std::ranges::find_if(read.files, [&](const OneConflict& file) {
            return std::ranges::contains(file.text.together, text->key.path);
        });
        if (asked != read.files.end()) {
            asked->together.emplace_back(text->key, undecided(*text));
            continue;
        }
        OneConflict file;
        for (const ConflictHunk& hunk : text->hunks)
            file.recalled.push_back(recall(*repository, hunk));
        // The run knows only how many; which ones shows when the decisions are laid upon them.
        file.again.assign(std::max<std::size_t>(1, text->hunks.size()), replayed.conflicts[i].again > 0);
        file.text = std::move(*text);
        read.files.push_back(std::move(file));
    }
    return read;
}

std::vector<CommitConflicts::Input> CommitConflicts::inputsOf(const ReplayedCommit& commit)
{
    std::vector<Input> inputs;
    for (const Conflict& conflict : commit.conflicts)
        inputs.push_back({conflict.key(commit.id).path, conflict.path.ancestor.id, conflict.path.newBase.id,
                          conflict.path.commit.id});
    return inputs;
}

bool CommitConflicts::standsFor(const DryRun& run) const
{
    return commit < run.commits.size() && run.commits[commit].id == m_id && inputsOf(run.commits[commit]) == m_inputs;
}

FileSettlement CommitConflicts::settlement(std::size_t file, const Settlements& all) const
{
    const OneConflict& one = files[file];
    const FileSettlement fresh = espalier::undecided(one.text);
    FileSettlement held = stillHolding(all.find(one.text.key), fresh);
    for (const auto& [key, open] : one.together)
        if (!stillHolding(all.find(key), open).decided())
            return fresh;
    return held;
}

std::vector<std::pair<SettlementKey, FileSettlement>> CommitConflicts::decidedWhole(std::size_t file,
                                                                                    Choice choice) const
{
    const OneConflict& one = files[file];
    std::vector<std::pair<SettlementKey, FileSettlement>> all = one.together;
    all.emplace(all.begin(), one.text.key, espalier::undecided(one.text));
    for (auto& [key, settlement] : all)
        for (HunkDecision& hunk : settlement.hunks)
            hunk.choice = choice;
    return all;
}

std::vector<std::pair<int, int>> CommitConflicts::undecided(const Settlements& all) const
{
    std::vector<std::pair<int, int>> open;
    for (std::size_t i = 0; i < files.size(); ++i) {
        const FileSettlement held = settlement(i, all);
        if (held.wholeText)
            continue;
        for (std::size_t hunk = 0; hunk < held.hunks.size(); ++hunk)
            if (held.hunks[hunk].choice == Choice::Undecided)
                open.emplace_back(int(i), int(hunk));
    }
    return open;
}

std::size_t CommitConflicts::hunkCount() const
{
    std::size_t total = 0;
    for (const OneConflict& one : files)
        total += one.text.wholePath ? 1 : one.text.hunks.size();
    return total;
}

} // namespace espalier
