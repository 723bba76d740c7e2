// SPDX-License-Identifier: MIT
#include "core/propose/past_merges.h"

#include "core/git/commit.h"
#include "core/merge/tree_merge.h"
#include "core/propose/file_hunks.h"
#include "core/propose/words.h"
#include "core/replay/commit_table.h"
#include "core/tree/lookup.h"

#include <algorithm>
#include <list>
#include <unordered_set>

namespace espalier {

namespace {

constexpr std::size_t mostRecords = 3;       // that are kept for commits asked about in turn
constexpr std::size_t mostLearnt = 30'000;   // hunks of one of them, before it is made anew of the newest merges
constexpr std::size_t keptAtOnce = 500;      // merges between two writes
constexpr std::size_t mostBytes = 4'000'000; // of a file; what is larger was hardly settled by hand

using Row = std::uint32_t;

// One record, and of which merges it is.
struct MadeRecord {
    std::unordered_set<Row> merges;
    Record record;
    std::unordered_map<std::uint64_t, SettledText> texts;
};

} // namespace

std::uint64_t mergeName(const Oid& onto)
{
    return sumOf(std::string_view(reinterpret_cast<const char*>(onto.bytes.data()), onto.bytes.size()));
}

struct PastMerges::Data {
    explicit Data(const Repository& from)
        : repository(from), store(from), table(from), options(MergeOptions::of(from)), kept(from)
    {
        for (MinedMerge& merge : kept.read())
            mined.insert_or_assign(merge.merge, std::move(merge.files));
    }

    Row rowOf(const Oid& id)
    {
        const auto [at, isNew] = rows.try_emplace(id, Row(ids.size()));
        if (isNew) {
            ids.push_back(id);
            parents.emplace_back();
            read.push_back(false);
            times.push_back(0);
        }
        return at->second;
    }
    Result<void> readParents(Row row);
    // The merges of two that `onto` reaches, newest first.
    Result<std::vector<Row>> reachedMerges(const Oid& onto, const Progress& progress);
    Result<void> mineAll(std::span<const Row> merges, const Progress& progress);
    std::vector<MinedFile> mine(Row merge, const Progress& progress);
    std::optional<MinedFile> mineFile(const PathConflict& conflict, const Oid& mergeTree);
    void learn(MadeRecord& made, std::span<const Row> merges);

    const Repository& repository;
    ObjectStore store;
    CommitTable table;
    MergeOptions options;
    MergeCaches caches;
    MinedStore kept;

    std::unordered_map<Oid, Row> rows;
    std::vector<Oid> ids;
    std::vector<std::vector<Row>> parents;
    std::vector<bool> read;
    std::vector<std::int64_t> times; // of merges
    std::vector<std::uint32_t> marks;
    std::uint32_t mark = 0;

    std::unordered_map<Oid, std::vector<MinedFile>> mined;
    std::unordered_map<Oid, std::uint64_t> who;
    std::function<bool(const MinedFile&)> held;
    std::list<MadeRecord> records; // the one asked for last in front
};

PastMerges::PastMerges(const Repository& repository) : m_data(std::make_unique<Data>(repository)) {}
PastMerges::~PastMerges() = default;
void PastMerges::leaveOut(std::function<bool(const MinedFile& file)> held) { m_data->held = std::move(held); }

std::uint64_t PastMerges::whoOf(const Oid& commit)
{
    const auto [at, isNew] = m_data->who.try_emplace(commit, 0);
    if (isNew)
        if (const auto made = readCommit(m_data->store, commit))
            at->second = sumOf(made->author.email);
    return at->second;
}

Result<void> PastMerges::Data::readParents(Row row)
{
    const auto known = table.parents(store, ids[row]);
    if (!known)
        return std::unexpected(known.error());
    std::vector<Row> of;
    for (const Oid& parent : *known)
        of.push_back(rowOf(parent));
    if (of.size() == 2) {
        const auto commit = readCommit(store, ids[row]);
        if (!commit)
            return std::unexpected(commit.error());
        times[row] = commit->committer.when;
    }
    parents[row] = std::move(of);
    read[row] = true;
    return {};
}

Result<std::vector<Row>> PastMerges::Data::reachedMerges(const Oid& onto, const Progress& progress)
{
    std::vector<Row> merges, open{rowOf(onto)};
    ++mark;
    while (!open.empty()) {
        const Row row = open.back();
        open.pop_back();
        marks.resize(ids.size());
        if (marks[row] == mark)
            continue;
        marks[row] = mark;
        if (!read[row]) {
            if (progress.stopped())
                return fail(ErrorKind::Cancelled, "Stopped while the history was read", onto.brief());
            if (const auto done = readParents(row); !done)
                return std::unexpected(done.error());
        }
        if (parents[row].size() == 2)
            merges.push_back(row);
        open.insert(open.end(), parents[row].begin(), parents[row].end());
    }
    std::ranges::sort(merges,
                      [&](Row a, Row b) { return times[a] != times[b] ? times[a] > times[b] : ids[a] < ids[b]; });
    return merges;
}

std::optional<MinedFile> PastMerges::Data::mineFile(const PathConflict& conflict, const Oid& mergeTree)
{
    if (conflict.wholePath() || !isRegularFile(conflict.ancestor.mode) || !isRegularFile(conflict.newBase.mode) ||
        !isRegularFile(conflict.commit.mode))
        return std::nullopt;
    const auto entry = fileAt(store, mergeTree, conflict.path);
    if (!entry || !isRegularFile(entry->mode))
        return std::nullopt;
    const auto texts = conflictTexts(store, conflict);
    const auto settled = store.readOnce(entry->id, ObjectType::Blob);
    if (!texts || !settled ||
        std::max({texts->ancestor->size(), texts->newBase->size(), texts->commit->size(), settled->view().size()}) >
            mostBytes)
        return std::nullopt;
    FileHunks file = fileHunks(conflict.path, *texts->ancestor, *texts->newBase, *texts->commit, *texts->merge);
    noteSettled(file, settled->view());
    MinedFile found{file.facts, conflict.ancestor.id, conflict.newBase.id, conflict.commit.id, entry->id, {}};
    for (AskedHunk& hunk : file.hunks)
        if (hunk.facts.settled != 0)
            found.hunks.push_back({std::move(hunk.facts), hunk.place});
    if (found.hunks.empty())
        return std::nullopt;
    return found;
}

std::vector<MinedFile> PastMerges::Data::mine(Row merge, const Progress& progress)
{
    std::vector<MinedFile> files;
    const Oid first = ids[parents[merge][0]], second = ids[parents[merge][1]];
    const auto made = readCommit(store, ids[merge]), left = readCommit(store, first), right = readCommit(store, second);
    // What cannot be read tells nothing; the next run need not try again.
    if (!made || !left || !right)
        return files;
    const auto ways = table.divergence(store, first, second, progress);
    if (!ways || ways->mergeBases.empty())
        return files;
    const auto base = readCommit(store, ways->mergeBases.front());
    if (!base)
        return files;
    const auto merged = mergeTrees(store, base->tree, left->tree, right->tree, options, caches, progress);
    std::size_t hunks = 0;
    if (merged)
        for (const PathConflict& conflict : merged->conflicts) {
            auto file = hunks < PastMerges::mostHunks ? mineFile(conflict, made->tree) : std::nullopt;
            if (!file)
                continue;
            if (hunks + file->hunks.size() > PastMerges::mostHunks)
                file->hunks.resize(PastMerges::mostHunks - hunks);
            hunks += file->hunks.size();
            file->facts.merge = mergeName(first);
            file->facts.who = sumOf(left->author.email);
            files.push_back(std::move(*file));
        }
    store.dropNewObjects();
    return files;
}

Result<void> PastMerges::Data::mineAll(std::span<const Row> merges, const Progress& progress)
{
    std::vector<MinedMerge> fresh;
    std::size_t done = 0;
    const auto keep = [&] {
        // Where it cannot be written, the next run looks again.
        (void)kept.keep(fresh);
        fresh.clear();
    };
    for (const Row row : merges) {
        progress.report("Looking at past merges", done++, merges.size());
        if (mined.contains(ids[row]))
            continue;
        std::vector<MinedFile> files = mine(row, progress);
        if (progress.stopped()) {
            keep();
            return fail(ErrorKind::Cancelled, "Stopped while past merges were looked at", ids[row].brief());
        }
        mined.emplace(ids[row], files);
        fresh.push_back({ids[row], std::move(files)});
        if (fresh.size() >= keptAtOnce)
            keep();
    }
    keep();
    return {};
}

void PastMerges::Data::learn(MadeRecord& made, std::span<const Row> merges)
{
    for (const Row row : merges) {
        if (!made.merges.insert(row).second)
            continue;
        std::vector<Record::Learnt> learnt;
        for (const MinedFile& file : mined.at(ids[row])) {
            if (held && held(file))
                continue;
            Record::Learnt& one = learnt.emplace_back(Record::Learnt{file.facts, {}});
            for (const MinedHunk& hunk : file.hunks) {
                one.hunks.push_back(hunk.facts);
                made.texts.insert_or_assign(hunk.facts.exact, SettledText{file.recorded, hunk.place});
            }
        }
        made.record.learn(learnt);
    }
}

Result<const Record*> PastMerges::recordFor(const Oid& onto, const Progress& progress)
{
    Data& data = *m_data;
    const auto reached = data.reachedMerges(onto, progress);
    if (!reached)
        return std::unexpected(reached.error());
    std::vector<Row> wanted(reached->begin(), reached->begin() + std::ptrdiff_t(std::min(reached->size(), mostMerges)));
    if (const auto done = data.mineAll(wanted, progress); !done)
        return std::unexpected(done.error());
    std::erase_if(wanted, [&](Row row) { return data.mined.at(data.ids[row]).empty(); });
    std::ranges::reverse(wanted);
    // The fullest record that holds nothing else than `onto` reaches is added to.
    const auto reaches = [&](Row row) { return data.marks[row] == data.mark; };
    auto best = data.records.end();
    for (auto one = data.records.begin(); one != data.records.end(); ++one)
        if (one->record.hunks() < mostLearnt && std::ranges::all_of(one->merges, reaches) &&
            (best == data.records.end() || one->merges.size() > best->merges.size()))
            best = one;
    // One that is far behind is left to whoever asked for it.
    if (best != data.records.end() && best->merges.size() * 2 >= wanted.size()) {
        data.records.splice(data.records.begin(), data.records, best);
    } else {
        data.records.emplace_front();
        if (data.records.size() > mostRecords)
            data.records.pop_back();
    }
    data.learn(data.records.front(), wanted);
    return &data.records.front().record;
}

std::optional<SettledText> PastMerges::settledText(std::uint64_t exact) const
{
    if (m_data->records.empty())
        return std::nullopt;
    const auto& texts = m_data->records.front().texts;
    const auto found = texts.find(exact);
    return found == texts.end() ? std::nullopt : std::optional(found->second);
}

} // namespace espalier
