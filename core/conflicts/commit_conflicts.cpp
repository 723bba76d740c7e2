// SPDX-License-Identifier: MIT
#include "core/conflicts/commit_conflicts.h"

#include "core/settle/carry.h"
#include "core/settle/memory_store.h"

#include <algorithm>
#include <ctime>

namespace espalier {

Result<CommitConflicts> readConflicts(const std::string& path, const std::shared_ptr<const DryRun>& run,
                                      std::size_t commit, const Progress& progress)
{
    const auto repository = Repository::open(path);
    if (!repository)
        return std::unexpected(repository.error());
    const Memory memory = readMemory(*repository, std::time(nullptr));
    const GitResolutions git(*repository);
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
        const auto recorded = git.find(*text);
        std::size_t whole = 0; // of the hunks as git has them
        for (const ConflictHunk& hunk : text->hunks) {
            whole += std::size_t(hunk.part == 0);
            // A part was never met before.
            file.offers.push_back(hunk.parts == 1 ? rememberedOffer(memory, recorded, hunk, whole - 1) : std::nullopt);
        }
        file.again = replayed.conflicts[i].again > 0;
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
                          conflict.path.commit.id, conflict.form, conflict.cuts});
    return inputs;
}

bool CommitConflicts::standsFor(const DryRun& run) const
{
    return commit < run.commits.size() && run.commits[commit].id == m_id && inputsOf(run.commits[commit]) == m_inputs;
}

FileSettlement CommitConflicts::settlement(std::size_t file, const Settlements& all) const
{
    const OneConflict& one = files[file];
    for (const auto& [key, open] : one.together)
        if (!stillHolding(all.find(key), open, {}).decided())
            return espalier::undecided(one.text);
    return stillHolding(all.find(one.text.key), one.text);
}

std::vector<std::pair<SettlementKey, FileSettlement>> CommitConflicts::decidedWhole(std::size_t file,
                                                                                    Choice choice) const
{
    const OneConflict& one = files[file];
    std::vector<std::pair<SettlementKey, FileSettlement>> all = one.together;
    all.emplace(all.begin(), one.text.key, espalier::undecided(one.text));
    for (auto& [key, settlement] : all)
        settlement.decide(0, {choice, {}});
    return all;
}

std::vector<ConflictPlace> CommitConflicts::undecided(const Settlements& all) const
{
    std::vector<ConflictPlace> open;
    for (std::size_t i = 0; i < files.size(); ++i) {
        const FileSettlement held = settlement(i, all);
        for (std::size_t piece = 0; piece < held.pieces.size(); ++piece)
            if (isOpen(held.pieces[piece]))
                open.push_back({int(i), int(piece)});
    }
    return open;
}

std::size_t CommitConflicts::questions(const Settlements& all) const
{
    std::size_t total = 0;
    for (std::size_t i = 0; i < files.size(); ++i)
        total += settlement(i, all).questions();
    return total;
}

ReplayKey replayKey(const Plan& plan) { return {plan.branch, plan.tip, plan.onto}; }

} // namespace espalier
