// SPDX-License-Identifier: MIT
#include "core/conflicts/replay_outline.h"

#include <algorithm>
#include <numeric>

namespace espalier {

namespace {

// Several paths of a merge that are one question: asked at the first of them.
bool askedBefore(const std::vector<Conflict>& conflicts, std::size_t at)
{
    const Conflict& one = conflicts[at];
    const bool shares = one.path.kind == ConflictKind::TypeDiffers ||
                        (one.path.kind == ConflictKind::RenamedTwice && one.path.wholePath());
    return shares &&
           std::ranges::any_of(conflicts.begin(), conflicts.begin() + std::ptrdiff_t(at), [&](const Conflict& earlier) {
               return earlier.path.kind == one.path.kind && earlier.ownChange == one.ownChange &&
                      std::ranges::contains(earlier.path.otherPaths, one.path.path);
           });
}

FileOutline outlineOf(const Conflict& conflict, const Oid& commit, const Settlements& settlements)
{
    const PathConflict& path = conflict.path;
    FileOutline file{conflict.key(commit), shownPath(path), path.wholePath(), conflict.ownChange, {}, 0, 0, {}};
    file.undecided = conflict.undecided;
    file.again = conflict.again;
    const FileSettlement* kept = settlements.find(file.key);
    const ThreeBlobs blobs{path.ancestor.id, path.newBase.id, path.commit.id};
    // Its hunks are not those of the path.
    const bool formed = conflict.form.lineEnds || conflict.form.encoding || !conflict.cuts.empty();
    const std::size_t hunks = file.wholePath ? 1
                              : formed ? conflict.hunks - std::size_t(conflict.form.any()) // that is a question too
                                       : path.hunks.size();
    const bool known = kept && kept->blobs == blobs && kept->hunkCount() == hunks;
    for (std::size_t i = 0; i < hunks; ++i) {
        HunkOutline hunk;
        if (!file.wholePath && !formed)
            hunk.lines = path.hunks[i].commit;
        if (known)
            hunk.choice = kept->decision(i).choice;
        else if (conflict.undecided >= hunks)
            hunk.choice = Choice::Undecided;
        file.hunks.push_back(hunk);
    }
    return file;
}

std::size_t sum(const std::vector<FileOutline>& files, std::size_t FileOutline::* of)
{
    return std::transform_reduce(files.begin(), files.end(), std::size_t(0), std::plus<>(),
                                 [of](const FileOutline& file) { return file.*of; });
}

} // namespace

std::size_t CommitOutline::undecided() const { return sum(files, &FileOutline::undecided); }
std::size_t CommitOutline::again() const { return sum(files, &FileOutline::again); }

std::size_t CommitOutline::remarks() const
{
    return std::transform_reduce(files.begin(), files.end(), std::size_t(0), std::plus<>(),
                                 [](const FileOutline& file) { return file.remarks.size(); });
}

std::size_t CommitOutline::questions() const
{
    std::size_t all = 0;
    for (const FileOutline& file : files)
        all += std::max(file.hunks.size(), file.undecided);
    return all;
}

std::vector<CommitOutline> replayOutline(const DryRun& run, const Settlements& settlements,
                                         const std::vector<FileRemarks>& remarks)
{
    std::vector<CommitOutline> all;
    for (std::size_t i = 0; i < run.commits.size(); ++i) {
        const ReplayedCommit& commit = run.commits[i];
        CommitOutline one{i, commit.id, commit.subject, {}};
        for (std::size_t k = 0; k < commit.conflicts.size(); ++k)
            if (!askedBefore(commit.conflicts, k))
                one.files.push_back(outlineOf(commit.conflicts[k], commit.id, settlements));
        for (FileOutline& file : one.files)
            if (const auto of = std::ranges::find(remarks, file.key, &FileRemarks::key); of != remarks.end())
                file.remarks = of->remarks;
        if (!one.files.empty())
            all.push_back(std::move(one));
    }
    return all;
}

std::vector<CommitOutline> newlyOpen(const std::vector<CommitOutline>& before, const std::vector<CommitOutline>& now)
{
    std::vector<CommitOutline> open;
    for (const CommitOutline& commit : now) {
        const auto was = std::ranges::find(before, commit.id, &CommitOutline::id);
        CommitOutline fresh{commit.commit, commit.id, commit.subject, {}};
        for (const FileOutline& file : commit.files) {
            std::size_t known = 0;
            if (was != before.end())
                if (const auto same = std::ranges::find(was->files, file.key, &FileOutline::key);
                    same != was->files.end())
                    known = same->again;
            if (file.again > known)
                fresh.files.push_back(file);
        }
        if (!fresh.files.empty())
            open.push_back(std::move(fresh));
    }
    return open;
}

} // namespace espalier
