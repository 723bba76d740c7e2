// SPDX-License-Identifier: MIT
#include "core/conflicts/hunk_commits.h"

#include "core/conflicts/line_commits.h"
#include "core/git/commit.h"
#include "core/tree/lookup.h"

#include <algorithm>
#include <span>

namespace espalier {

namespace {

struct Side {
    std::string path, earlierPath;
    std::vector<LineRange> lines;
};

class Finder {
  public:
    Finder(const Repository& repository, const DryRun& run, const Progress& progress)
        : m_store(repository), m_table(repository), m_run(run), m_progress(progress)
    {
        if (run.objects)
            m_store.replaceNewObjects(*run.objects);
    }

    // The new base as the conflict has it may hold what earlier commits of the replay brought; behind them stand the lines
    // of the new base itself.
    Result<void> ofNewBase(const Side& side, const std::string& text, std::vector<HunkCommits>& found)
    {
        const Plan& plan = m_run.plan;
        const auto tree = readCommit(m_store, plan.onto);
        if (!tree)
            return std::unexpected(tree.error());
        Side there = side;
        auto entry = fileAt(m_store, tree->tree, side.path);
        if (entry && !entry->exists() && !side.earlierPath.empty()) {
            there.path = side.earlierPath;
            entry = fileAt(m_store, tree->tree, there.path);
        }
        if (!entry)
            return std::unexpected(entry.error());
        if (!entry->exists() || entry->mode == FileMode::Tree || entry->mode == FileMode::Submodule)
            return {};
        const auto blob = m_store.read(entry->id, ObjectType::Blob);
        if (!blob)
            return std::unexpected(blob.error());
        if (blob->view() != text) {
            const std::vector<LinesBefore> before = linesBefore(blob->view(), text, side.lines);
            for (std::size_t i = 0; i < before.size(); ++i) {
                found[i].earlierOfTopic = before[i].changed;
                there.lines[i] = before[i].lines;
            }
        }
        const auto ways = m_table.divergence(m_store, plan.tip, plan.onto, m_progress);
        if (!ways)
            return std::unexpected(ways.error());
        return take(plan.onto, ways->onlyRight, there, found, &HunkCommits::newBase);
    }

    // The ancestor of a replayed commit's conflict is what stood in its parent.
    Result<void> ofTopic(std::size_t commit, const Side& side, std::vector<HunkCommits>& found)
    {
        const auto replayed = readCommit(m_store, m_run.commits[commit].id);
        if (!replayed)
            return std::unexpected(replayed.error());
        if (replayed->parents.size() != 1)
            return {};
        std::vector<Oid> earlier;
        for (std::size_t i = 0; i < commit; ++i)
            earlier.push_back(m_run.commits[i].id);
        const Oid& parent = replayed->parents.front();
        if (!std::ranges::contains(earlier, parent))
            return {};
        return take(parent, earlier, side, found, &HunkCommits::topic);
    }

    Result<LineCommit> named(const Oid& id)
    {
        return readCommit(m_store, id).transform([&](const Commit& commit) {
            return LineCommit{id, commit.subject(), commit.author.name, commit.author.when};
        });
    }

  private:
    Result<void> take(const Oid& tip, const std::vector<Oid>& commits, const Side& side,
                      std::vector<HunkCommits>& found, std::vector<LineCommit> HunkCommits::* into)
    {
        const auto named =
            commitsThatChanged(m_store, m_table, {tip, commits, side.path, side.earlierPath, side.lines}, m_progress);
        if (!named)
            return std::unexpected(named.error());
        for (std::size_t i = 0; i < named->size(); ++i)
            for (const Oid& id : (*named)[i]) {
                auto commit = this->named(id);
                if (!commit)
                    return std::unexpected(commit.error());
                (found[i].*into).push_back(std::move(*commit));
            }
        return {};
    }

    ObjectStore m_store;
    CommitTable m_table;
    const DryRun& m_run;
    const Progress& m_progress;
};

std::string pathOf(const ConflictStage& stage, const std::string& otherwise)
{
    return stage.exists() && !stage.path.empty() ? stage.path : otherwise;
}

} // namespace

Result<std::vector<HunkCommits>> hunkCommits(const Repository& repository, const DryRun& run, std::size_t commit,
                                             const ConflictText& text, const Progress& progress)
{
    const ReplayedCommit* replayed = commit < run.commits.size() ? &run.commits[commit] : nullptr;
    const auto asked = [&](const Conflict& conflict) { return conflict.key(replayed->id) == text.key; };
    if (!replayed || std::ranges::none_of(replayed->conflicts, asked))
        return fail(ErrorKind::Usage, "The dry run has no such conflict", run.plan.label, "Make the dry run again");
    std::vector<HunkCommits> found(text.hunks.size());
    if (text.wholePath)
        return found;
    const PathConflict& path = std::ranges::find_if(replayed->conflicts, asked)->path;
    const std::string before = pathOf(path.ancestor, path.path);
    Side newBase{pathOf(path.newBase, path.path), before, {}}, topic{before, {}, {}};
    for (const ConflictHunk& hunk : text.hunks) {
        newBase.lines.push_back(hunk.newBase);
        topic.lines.push_back(hunk.ancestor);
    }
    Finder finder(repository, run, progress);
    const auto own = finder.named(replayed->id);
    if (!own)
        return std::unexpected(own.error());
    for (HunkCommits& one : found)
        one.own = *own;
    if (auto done = finder.ofNewBase(newBase, text.newBase, found); !done)
        return std::unexpected(done.error());
    if (path.ancestor.exists())
        if (auto done = finder.ofTopic(commit, topic, found); !done)
            return std::unexpected(done.error());
    return found;
}

} // namespace espalier
