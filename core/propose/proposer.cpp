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
    // Takes the file apart, and the history of what it stands on.
    Result<void> open(const ProposalTexts& question, const Progress& progress);
    ProposedFile answer();

    ObjectStore store;
    PastMerges past;
    Record session;
    std::unordered_map<std::uint64_t, std::string> sessionTexts;
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
    std::vector<std::string> texts;
    if (const auto found = sessionTexts.find(hunk.facts.exact); found != sessionTexts.end())
        texts.push_back(found->second);
    if (const auto found = past.settledText(hunk.facts.exact))
        if (const auto bytes = blob(found->blob))
            texts.emplace_back(linesOf(*bytes, found->lines));
    for (std::string& text : texts)
        if (sumOf(evened(text)) == guess.sum)
            return std::move(text);
    return std::nullopt;
}

Proposer::Proposer(const Repository& repository) : m_data(std::make_unique<Data>(repository)) {}
Proposer::~Proposer() = default;

Result<void> Proposer::Data::open(const ProposalTexts& question, const Progress& progress)
{
    file = fileHunks(question.path, question.ancestor, question.newBase, question.commit);
    history = nullptr;
    if (!question.onto || file.hunks.empty())
        return {};
    file.facts.merge = mergeName(*question.onto);
    file.facts.who = past.whoOf(*question.onto);
    const auto record = past.recordFor(*question.onto, progress);
    if (!record)
        return std::unexpected(record.error());
    history = *record;
    return {};
}

ProposedFile Proposer::Data::answer()
{
    std::vector<const Record*> records{&session};
    if (history)
        records.push_back(history);
    ProposedFile all;
    std::size_t shown = 0;
    for (const AskedHunk& hunk : file.hunks) {
        ProposedHunk& one = all.hunks.emplace_back(ProposedHunk{hunk.ancestor, hunk.newBase, hunk.commit, {}});
        const auto guess = hunk.candidates.empty() ? std::nullopt : guessFor(records, file.facts, hunk.facts);
        if (!guess || !mayShow(records, *guess, shown))
            continue;
        auto text = textOf(*guess, hunk);
        shown += text.has_value();
        if (text)
            one.proposal = Proposal{std::string(candidateKindName(guess->kind)), std::move(*text),
                                    reasonFor(*guess, file.facts.path), guess->confidence};
    }
    all.between = file.between;
    return all;
}

Result<ProposedFile> Proposer::propose(const ProposalTexts& question, const Progress& progress)
{
    m_data->key = 0; // no blobs that settled() could know again
    return m_data->open(question, progress).transform([&] { return m_data->answer(); });
}

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
    return data.open({question.path, *ancestor, *newBase, *commit, question.onto}, progress).transform([&] {
        return data.answer();
    });
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
            data.sessionTexts.insert_or_assign(hunk.facts.exact, std::string(linesOf(*text, hunk.place)));
    return {};
}

Result<void> Proposer::setSession(const std::vector<SessionFile>& files, const Progress& progress)
{
    Data& data = *m_data;
    data.session = Record();
    data.sessionTexts.clear();
    data.heldBySession.clear();
    std::vector<Record::Learnt> learnt;
    for (const SessionFile& one : files) {
        if (progress.stopped())
            return cancelled();
        if (const auto done = data.open(one.texts, progress); !done)
            return done;
        if (data.file.hunks.size() != one.settled.size())
            continue; // not the merge that the session has
        for (std::size_t i = 0; i < one.settled.size(); ++i)
            if (one.settled[i] && !data.file.hunks[i].candidates.empty()) {
                HunkFacts& facts = data.file.hunks[i].facts;
                facts.settled = sumOf(evened(*one.settled[i]));
                data.sessionTexts.insert_or_assign(facts.exact, *one.settled[i]);
            }
        learnt.push_back(learntOf(data.file));
    }
    data.session.learn(learnt, data.history);
    data.file = {};
    return {};
}

} // namespace espalier
