// SPDX-License-Identifier: MIT
#include "core/propose/replay_proposals.h"

#include "core/settle/carry.h"
#include "core/settle/compose.h"

namespace espalier {

namespace {

// What of a file of the replay is decided, hunk by hunk; nothing where none is.
Result<std::optional<SessionFile>> decidedIn(ObjectStore& store, const Conflict& conflict, const FileSettlement* kept,
                                             const Oid& onto)
{
    if (!kept || conflict.path.wholePath() || !kept->touched())
        return std::nullopt;
    auto texts = conflictTexts(store, conflict.path);
    if (!texts)
        return std::unexpected(texts.error());
    if (auto formed = inForm(*texts, conflict.form))
        texts = std::move(*formed);
    const auto segments = segmentsOf(*texts->merge, *texts->ancestor, *texts->newBase, *texts->commit);
    const ThreeBlobs blobs{conflict.path.ancestor.id, conflict.path.newBase.id, conflict.path.commit.id};
    const FileSettlement held = stillHolding(kept, undecidedText(blobs, segments), segments);
    SessionFile file{{conflict.path.path, *texts->ancestor, *texts->newBase, *texts->commit, onto}, {}};
    bool some = false;
    for (std::size_t i = 1; i < segments.size(); i += 2) {
        const auto& hunk = std::get<SettledHunk>(held.pieces[i]);
        if (isOpen(held.pieces[i])) {
            file.settled.emplace_back();
            continue;
        }
        file.settled.emplace_back(
            hunkBytes(segments[i].newBase, segments[i].commit, hunk.decision, lineEndOf(segments)));
        some = true;
    }
    return some ? std::optional(std::move(file)) : std::nullopt;
}

} // namespace

ReplayProposals::ReplayProposals(const Repository& repository) : m_repository(&repository), m_proposer(repository) {}

Result<void> ReplayProposals::learn(const DryRun& run, const Settlements& decided, const Progress& progress)
{
    if (m_learnt && *m_learnt == decided)
        return {};
    ObjectStore store(*m_repository);
    if (run.objects)
        store.replaceNewObjects(*run.objects);
    std::vector<SessionFile> files;
    for (const ReplayedCommit& commit : run.commits)
        for (const Conflict& conflict : commit.conflicts) {
            if (progress.stopped())
                return cancelled();
            auto file = decidedIn(store, conflict, decided.find(conflict.key(commit.id)), run.plan.onto);
            if (!file)
                return std::unexpected(file.error());
            if (*file)
                files.push_back(std::move(**file));
        }
    m_learnt.reset();
    if (const auto done = m_proposer.setSession(files, progress); !done)
        return done;
    m_learnt = decided;
    return {};
}

Result<std::vector<FileOffers>> ReplayProposals::offersFor(const CommitConflicts& conflicts, const DryRun& run,
                                                           const Settlements& decided, const Progress& progress)
{
    if (const auto done = learn(run, decided, progress); !done)
        return std::unexpected(done.error());
    std::vector<FileOffers> all;
    for (const OneConflict& one : conflicts.files) {
        const ConflictText& text = one.text;
        FileOffers& offers = all.emplace_back(text.hunks.size());
        if (text.hunks.empty())
            continue;
        const auto proposed =
            m_proposer.propose({text.path, text.ancestor, text.newBase, text.commit, run.plan.onto}, progress);
        if (!proposed)
            return std::unexpected(proposed.error());
        for (std::size_t i = 0; i < std::min(offers.size(), proposed->hunks.size()); ++i) {
            const ProposedHunk& found = proposed->hunks[i];
            const ConflictHunk& hunk = text.hunks[i];
            // Where the repository merges this file another way than by default, hunks are others.
            if (found.proposal && found.newBase == hunk.newBase && found.commit == hunk.commit)
                offers[i] =
                    HunkOffer{HunkOffer::Proposed,
                              decisionGiving(hunk.newBaseText, hunk.commitText, found.proposal->text, hunk.lineEnd),
                              found.proposal->reason,
                              0,
                              {}};
        }
    }
    return all;
}

} // namespace espalier
