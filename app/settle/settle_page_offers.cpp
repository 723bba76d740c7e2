// SPDX-License-Identifier: MIT
//
// What the settle page offers for hunks: what was settled before, which is there with the conflicts, and what is proposed, which
// a worker finds out. Nothing is taken unasked.
#include "app/settle/settle_page_private.h"

#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/offer_bar.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "core/propose/replay_proposals.h"

#include <mutex>

namespace espalier {

// Past merges are looked through once for all conflicts of a repository; two jobs never use it at the same time.
struct ProposalSource {
    explicit ProposalSource(std::string at) : path(std::move(at)) {}

    Result<std::vector<FileOffers>> ask(const CommitConflicts& of, const DryRun& run, const Settlements& decided,
                                        const Progress& progress)
    {
        const std::scoped_lock only(mutex);
        if (!proposals) {
            auto opened = Repository::open(path);
            if (!opened)
                return std::unexpected(opened.error());
            repository.emplace(std::move(*opened));
            proposals.emplace(*repository);
        }
        return proposals->offersFor(of, run, decided, progress);
    }

    const std::string path;
    std::mutex mutex;
    std::optional<Repository> repository;
    std::optional<ReplayProposals> proposals;
};

const HunkOffer* SettlePage::Private::offerFor(int ofFile, int ofHunk) const
{
    if (ofFile < 0 || ofHunk < 0 || std::size_t(ofFile) >= shown->files.size())
        return nullptr;
    const auto in = [&](const FileOffers& all) {
        return std::size_t(ofHunk) < all.size() && all[std::size_t(ofHunk)] ? &*all[std::size_t(ofHunk)] : nullptr;
    };
    if (const HunkOffer* before = in(shown->files[std::size_t(ofFile)].offers);
        before && !forgotten.contains(before->name))
        return before;
    return std::size_t(ofFile) < proposals.size() ? in(proposals[std::size_t(ofFile)]) : nullptr;
}

// An answer that comes while another question is under way is about older decisions: the newest one is asked behind it.
void SettlePage::Private::askProposals()
{
    const DryRunPtr run = flow->run();
    if (!run || shown->files.empty() || !shown->standsFor(*run))
        return;
    if (proposing) {
        askAgain = true;
        return;
    }
    const std::string path = toBytes(session->path());
    if (!source || source->path != path)
        source = std::make_shared<ProposalSource>(path);
    proposing = true;
    askAgain = false;
    QPointer<Work> work = startWork<std::vector<FileOffers>>(
        page, tr("Looking at how others were settled"),
        [source = source, of = shown, run, decided = flow->settlements()](const Progress& progress) {
            return source->ask(*of, *run, decided, progress);
        },
        [this, of = reading](Result<std::vector<FileOffers>> found) {
            proposing = false;
            mining->setText(QString());
            // Without proposals everything can be settled all the same: what failed is no trouble here.
            if (found && of == reading)
                takeProposals(std::move(*found));
            if (askAgain || of != reading)
                askProposals();
        },
        WorkPriority::Patient);
    QObject::connect(work, &Work::progressed, page, [this, work] {
        if (work && work->fraction() >= 0)
            mining->setText(
                tr("Past merges are being looked through for proposals: %1 %").arg(int(work->fraction() * 100)));
    });
}

void SettlePage::Private::takeProposals(std::vector<FileOffers> found)
{
    // What the user looks at does not become another text under their fingers.
    const int at = hunk();
    if (file >= 0 && at >= 0 && std::size_t(file) < proposals.size() && std::size_t(file) < found.size()) {
        const FileOffers& before = proposals[std::size_t(file)];
        if (std::size_t(at) < before.size() && before[std::size_t(at)])
            found[std::size_t(file)][std::size_t(at)] = before[std::size_t(at)];
    }
    proposals = std::move(found);
    showOffers();
    showState();
}

std::vector<std::optional<HunkDecision>> SettlePage::Private::offeredIn(int ofFile) const
{
    std::vector<std::optional<HunkDecision>> decisions;
    for (int i = 0; i < int(shown->files[std::size_t(ofFile)].text.hunks.size()); ++i) {
        const HunkOffer* offer = offerFor(ofFile, i);
        decisions.push_back(offer ? std::optional(offer->decision) : std::nullopt);
    }
    return decisions;
}

void SettlePage::Private::showOffers()
{
    if (file < 0)
        return;
    const ConflictText& text = shown->files[std::size_t(file)].text;
    const FileSettlement held = settlementOf(std::size_t(file));
    const auto decisions = offeredIn(file);
    const HunkOffer* offer = waitingEdit < 0 ? offerFor(file, hunk()) : nullptr;
    bool any = offer != nullptr;
    int all = 0, undecided = 0, unseen = 0;
    for (int i = 0; i < int(decisions.size()); ++i) {
        const auto& decision = decisions[std::size_t(i)];
        all += decision.has_value();
        if (!decision || held.decision(std::size_t(i)).choice != Choice::Undecided)
            continue;
        any = true;
        if (i == hunk() && waitingEdit < 0)
            looked[{file, i}] = *decision;
        const auto seen = looked.find({file, i});
        ++undecided;
        unseen += seen == looked.end() || seen->second != *decision;
    }
    offers->setVisible(any);
    if (!text.wholePath)
        editor->setOffers(decisions);
    if (!any)
        return;
    const bool decided =
        hunk() >= 0 && waitingEdit < 0 && held.decision(std::size_t(hunk())).choice != Choice::Undecided;
    offers->showOffer(offer, offer ? toLines(hunkText(text.hunks[std::size_t(hunk())], offer->decision)) : QString(),
                      decided);
    offers->showFile(all, undecided, unseen);
}

void SettlePage::Private::takeOffer()
{
    const HunkOffer* offer = offerFor(file, hunk());
    if (!offer || waitingEdit >= 0)
        return;
    troubled = false;
    editor->decide(HunkDecision(offer->decision));
}

void SettlePage::Private::takeAllOffers()
{
    if (file < 0)
        return;
    troubled = false;
    editor->flush();
    const FileSettlement held = settlementOf(std::size_t(file));
    std::vector<std::pair<int, HunkDecision>> all;
    for (int i = 0; i < int(held.hunkCount()); ++i)
        if (const HunkOffer* offer = offerFor(file, i);
            offer && held.decision(std::size_t(i)).choice == Choice::Undecided) {
            const auto seen = looked.find({file, i});
            if (seen == looked.end() || seen->second != offer->decision)
                return; // it changed since: the button says so
            all.emplace_back(i, offer->decision);
        }
    if (!all.empty())
        editor->decide(all);
}

void SettlePage::Private::forgetOffer()
{
    const HunkOffer* offer = offerFor(file, hunk());
    if (!offer || offer->name.isZero())
        return;
    forgotten.insert(offer->name);
    flow->remember({}, {offer->name});
    showOffers();
    showState();
}

// What is decided is remembered for other replays, and what is taken back is not; then what was known before holds again.
void SettlePage::Private::rememberNew(int of, const FileSettlement& before, const FileSettlement& after)
{
    const OneConflict& one = shown->files[std::size_t(of)];
    std::vector<SettledBefore> fresh;
    std::vector<Oid> gone;
    const std::vector<Segment> segments = segmentsOf(one.text);
    const auto comparable = [&](const FileSettlement& settlement) {
        return settlement.pieces.size() == segments.size();
    };
    for (std::size_t i = 0; i < one.text.hunks.size() && comparable(before) && comparable(after); ++i) {
        if (one.text.hunks[i].part > 0)
            continue; // remembered with the first part, as the hunk that it is met as
        const HunkDecision made = wholeDecision(after, segments, i);
        if (made == wholeDecision(before, segments, i))
            continue;
        ConflictHunk hunk = one.text.hunks[i];
        if (hunk.parts > 1) {
            std::array<std::string, 3> whole;
            wholeHunk(segments, i, whole);
            hunk.ancestorText = std::move(whole[0]);
            hunk.newBaseText = std::move(whole[1]);
            hunk.commitText = std::move(whole[2]);
        }
        SettledBefore settled{textsOfHunk(hunk),
                              SettledBefore::Sides{hunk.ancestorText, hunk.newBaseText, hunk.commitText},
                              made,
                              one.text.path,
                              flow->plan().label,
                              one.text.yourCommit,
                              one.text.yourSubject,
                              QDateTime::currentSecsSinceEpoch()};
        const auto& known = one.offers[i];
        const bool knownBefore = known && known->name == settled.name && !forgotten.contains(known->name);
        if (settled.decision.choice == Choice::Undecided && !knownBefore) {
            gone.push_back(settled.name);
            continue;
        }
        if (settled.decision.choice == Choice::Undecided) {
            settled.decision = known->decision;
            settled.when = known->when;
        }
        fresh.push_back(std::move(settled));
    }
    if (!fresh.empty() || !gone.empty())
        flow->remember(std::move(fresh), std::move(gone));
}

} // namespace espalier
