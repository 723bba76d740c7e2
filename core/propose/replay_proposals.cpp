// SPDX-License-Identifier: MIT
#include "core/propose/replay_proposals.h"

#include "core/settle/carry.h"
#include "core/settle/compose.h"
#include "core/settle/split.h"

#include <array>

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
    *texts = cutTexts(*texts, conflict.cuts);
    const auto segments = segmentsOf(*texts->merge, *texts->ancestor, *texts->newBase, *texts->commit);
    const ThreeBlobs blobs{conflict.path.ancestor.id, conflict.path.newBase.id, conflict.path.commit.id};
    const FileSettlement held = stillHolding(kept, undecidedText(blobs, segments), segments);
    SessionFile file{{conflict.path.path, *texts->ancestor, *texts->newBase, *texts->commit, onto}, {}};
    bool some = false;
    for (std::size_t i = 1; i < segments.size(); i += 2) {
        if (segments[i].part > 0)
            continue; // settled with the first part of its hunk
        const HunkDecision made = wholeDecision(held, segments, i / 2);
        if (made.choice == Choice::Undecided) {
            file.settled.emplace_back();
            continue;
        }
        std::array<std::string, 3> whole;
        const Segment hunk = wholeHunk(segments, i / 2, whole);
        file.settled.emplace_back(hunkBytes(hunk.newBase, hunk.commit, made, lineEndOf(segments)));
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
        std::size_t whole = 0; // of the hunks as the merge has them
        for (std::size_t i = 0; i < offers.size(); ++i) {
            const ConflictHunk& hunk = text.hunks[i];
            whole += std::size_t(hunk.part == 0);
            if (hunk.parts > 1 || whole > proposed->hunks.size())
                continue;
            const ProposedHunk& found = proposed->hunks[whole - 1];
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
