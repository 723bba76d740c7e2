// SPDX-License-Identifier: MIT
#include "core/propose/take_offers.h"

namespace espalier {

namespace {

class Taking {
  public:
    Taking(const Repository& repository, const Plan& plan, const Progress& progress)
        : m_repository(repository), m_plan(plan), m_progress(progress), m_proposals(repository)
    {
    }

    Result<TakenOffers> run()
    {
        if (const auto done = again(); !done)
            return std::unexpected(done.error());
        // What was settled before first, to its end: only that is the user's own, from which proposals may learn. Each decision can
        // change what a later commit meets.
        for (const bool proposed : {false, true})
            for (std::size_t before = m_taken.hunks.size() + 1; before != m_taken.hunks.size();) {
                before = m_taken.hunks.size();
                if (const auto done = takeAll(proposed); !done)
                    return std::unexpected(done.error());
                if (m_taken.hunks.size() == before)
                    continue;
                if (const auto done = again(); !done)
                    return std::unexpected(done.error());
            }
        return std::move(m_taken);
    }

  private:
    Result<void> again()
    {
        auto made = dryRun(m_repository, m_plan, m_taken.settlements, m_progress);
        if (!made)
            return std::unexpected(made.error());
        m_taken.run = std::make_shared<const DryRun>(std::move(*made));
        return {};
    }

    Result<void> takeAll(bool proposed)
    {
        const DryRun& run = *m_taken.run;
        for (std::size_t i = 0; i < run.commits.size(); ++i) {
            const ReplayedCommit& commit = run.commits[i];
            if (commit.outcome != Outcome::Conflict || !commit.dependsOn.empty())
                continue;
            const auto read = readConflicts(m_repository.path().string(), m_taken.run, i, m_progress);
            if (!read)
                return std::unexpected(read.error());
            std::vector<FileOffers> offers;
            if (proposed) {
                auto found = m_proposals.offersFor(*read, run, m_remembered, m_progress);
                if (!found)
                    return std::unexpected(found.error());
                offers = std::move(*found);
            } else {
                for (const OneConflict& one : read->files)
                    offers.push_back(one.offers);
            }
            take(*read, offers, proposed);
        }
        return {};
    }

    void take(const CommitConflicts& read, const std::vector<FileOffers>& offers, bool proposed)
    {
        for (std::size_t file = 0; file < read.files.size(); ++file) {
            const ConflictText& text = read.files[file].text;
            FileSettlement settled = read.settlement(file, m_taken.settlements);
            const std::size_t before = m_taken.hunks.size();
            for (std::size_t i = 0; i < offers[file].size(); ++i) {
                // What is only alike to what was settled before somebody has to look at.
                if (!offers[file][i] || offers[file][i]->likeness != Likeness::Same ||
                    settled.decision(i).choice != Choice::Undecided)
                    continue;
                settled.decide(i, offers[file][i]->decision);
                m_taken.hunks.push_back({text.yourCommit, text.path, i, *offers[file][i]});
            }
            if (m_taken.hunks.size() == before)
                continue;
            m_taken.settlements = m_taken.settlements.with(text.key, settled);
            if (!proposed)
                m_remembered = m_remembered.with(text.key, settled);
        }
    }

    const Repository& m_repository;
    const Plan& m_plan;
    const Progress& m_progress;
    ReplayProposals m_proposals;
    TakenOffers m_taken;
    Settlements m_remembered; // the part of it that was settled before
};

} // namespace

Result<TakenOffers> takeOffers(const Repository& repository, const Plan& plan, const Progress& progress)
{
    return Taking(repository, plan, progress).run();
}

} // namespace espalier
