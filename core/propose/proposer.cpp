// SPDX-License-Identifier: MIT
#include "core/propose/proposer.h"

#include "core/git/objects.h"
#include "core/git/text.h"
#include "core/propose/file_hunks.h"
#include "core/propose/past_merges.h"
#include "core/propose/reason.h"
#include "core/propose/words.h"

#include <unordered_set>

namespace espalier {

namespace {

constexpr std::size_t mostLearnt = 60'000; // hunks of a session

std::uint64_t keyOf(const std::string& path, const Oid& ancestor, const Oid& newBase, const Oid& commit)
{
    return mergeName(ancestor) ^ mergeName(newBase) * 3 ^ mergeName(commit) * 5 ^ sumOf(path);
}

} // namespace

struct Proposer::Data {
    explicit Data(const Repository& repository) : store(repository), past(repository)
    {
        past.leaveOut([this](const MinedFile& mined) {
            return heldBySession.contains(keyOf(mined.facts.path, mined.ancestor, mined.newBase, mined.commit));
        });
    }
    Result<std::string> blob(const Oid& id)
    {
        if (id.isZero())
            return std::string();
        auto read = store.readOnce(id, ObjectType::Blob);
        return read ? Result<std::string>(std::string(read->view())) : std::unexpected(read.error());
    }
    std::optional<std::string> textOf(const Guess& guess, const AskedHunk& hunk);

    ObjectStore store;
    PastMerges past;
    Record session;
    std::unordered_map<std::uint64_t, SettledText> sessionTexts;
    std::unordered_set<std::uint64_t> heldBySession;
    // The file asked about last.
    FileHunks file;
    std::uint64_t key = 0;
    const Record* history = nullptr;
};

std::optional<std::string> Proposer::Data::textOf(const Guess& guess, const AskedHunk& hunk)
{
    if (guess.text < hunk.candidates.size())
        return hunk.candidates[guess.text].text;
    std::vector<SettledText> places;
    if (const auto found = sessionTexts.find(hunk.facts.exact); found != sessionTexts.end())
        places.push_back(found->second);
    if (const auto found = past.settledText(hunk.facts.exact))
        places.push_back(*found);
    for (const SettledText& place : places)
        if (const auto bytes = blob(place.blob)) {
            std::string text(linesOf(*bytes, place.lines));
            if (sumOf(evened(text)) == guess.sum)
                return text;
        }
    return std::nullopt;
}

Proposer::Proposer(const Repository& repository) : m_data(std::make_unique<Data>(repository)) {}
Proposer::~Proposer() = default;

Result<ProposedFile> Proposer::propose(const ProposalQuestion& question, const Progress& progress)
{
    Data& data = *m_data;
    data.file = {};
    const auto ancestor = data.blob(question.ancestor), newBase = data.blob(question.newBase),
               commit = data.blob(question.commit);
    for (const auto* side : {&ancestor, &newBase, &commit})
        if (!*side)
            return std::unexpected(side->error());
    data.key = keyOf(question.path, question.ancestor, question.newBase, question.commit);
    data.file = fileHunks(question.path, *ancestor, *newBase, *commit);
    data.history = nullptr;
    if (question.onto && !data.file.hunks.empty()) {
        data.file.facts.merge = mergeName(*question.onto);
        data.file.facts.who = data.past.whoOf(*question.onto);
        const auto record = data.past.recordFor(*question.onto, progress);
        if (!record)
            return std::unexpected(record.error());
        data.history = *record;
    }
    std::vector<const Record*> records{&data.session};
    if (data.history)
        records.push_back(data.history);
    ProposedFile answer;
    std::size_t shown = 0;
    for (const AskedHunk& hunk : data.file.hunks) {
        ProposedHunk& one = answer.hunks.emplace_back(ProposedHunk{hunk.ancestor, hunk.newBase, hunk.commit, {}});
        const auto guess = hunk.candidates.empty() ? std::nullopt : guessFor(records, data.file.facts, hunk.facts);
        if (!guess || !mayShow(records, *guess, shown))
            continue;
        auto text = data.textOf(*guess, hunk);
        shown += text.has_value();
        if (text)
            one.proposal = Proposal{std::string(candidateKindName(guess->kind)), std::move(*text),
                                    reasonFor(*guess, data.file.facts.path), guess->confidence};
    }
    answer.between = data.file.between;
    return answer;
}

Result<void> Proposer::settled(const Oid& blob)
{
    Data& data = *m_data;
    if (data.file.hunks.empty() || data.session.hunks() > mostLearnt)
        return {};
    const auto text = data.blob(blob);
    if (!text)
        return std::unexpected(text.error());
    if (!data.heldBySession.insert(data.key).second)
        return {};
    noteSettled(data.file, *text);
    const Record::Learnt learnt[]{learntOf(data.file)};
    data.session.learn(learnt, data.history);
    for (const AskedHunk& hunk : data.file.hunks)
        if (hunk.facts.settled != 0)
            data.sessionTexts.insert_or_assign(hunk.facts.exact, SettledText{blob, hunk.place});
    return {};
}

} // namespace espalier
