// SPDX-License-Identifier: MIT
#include "core/history/commit_headers.h"

#include "core/git/objects.h"

#include <charconv>
#include <thread>

namespace espalier {

namespace {

// Enough for a commit's header with two parents and two ordinary people; more is read when it is not.
constexpr std::size_t usualHeader = 448;
// Below this many a thread costs more than it saves.
constexpr std::size_t worthAThread = 256;

std::optional<Oid> takeIdLine(std::string_view& bytes, std::string_view key)
{
    if (!bytes.starts_with(key) || bytes.size() < key.size() + 41 || bytes[key.size() + 40] != '\n')
        return std::nullopt;
    const auto id = Oid::parse(bytes.substr(key.size(), 40));
    if (id)
        bytes.remove_prefix(key.size() + 41);
    return id;
}

} // namespace

bool parseHeader(std::string_view bytes, std::vector<Oid>& parents, std::int64_t& time)
{
    const std::size_t before = parents.size();
    const auto give = [&](bool result) {
        if (!result)
            parents.resize(before);
        return result;
    };
    if (!takeIdLine(bytes, "tree "))
        return false;
    while (bytes.starts_with("parent ")) {
        const auto parent = takeIdLine(bytes, "parent ");
        if (!parent)
            return give(false);
        parents.push_back(*parent);
    }
    const std::size_t author = bytes.find('\n');
    if (!bytes.starts_with("author ") || author == bytes.npos)
        return give(false);
    bytes.remove_prefix(author + 1);
    const std::size_t end = bytes.find('\n');
    if (!bytes.starts_with("committer ") || end == bytes.npos)
        return give(false);
    // git takes the digits behind the last '>' and reads anything odd as zero.
    const std::string_view line = bytes.substr(0, end);
    const std::size_t mail = line.rfind('>');
    time = 0;
    if (mail != line.npos && mail + 2 <= line.size()) {
        std::uint64_t value = 0;
        const char* from = line.data() + mail + 1;
        while (from < line.data() + line.size() && *from == ' ')
            ++from;
        const auto read = std::from_chars(from, line.data() + line.size(), value);
        if (read.ec == std::errc() && value <= std::uint64_t(INT64_MAX))
            time = std::int64_t(value);
    }
    return true;
}

bool parseTagTarget(std::string_view bytes, Oid& target)
{
    const auto id = takeIdLine(bytes, "object ");
    if (id)
        target = *id;
    return id.has_value();
}

struct CommitHeaders::Worker {
    explicit Worker(std::shared_ptr<const PackFiles> packs) : reader(std::move(packs)) {}

    PackReader reader;
    // Opened when it is needed: most repositories never do.
    std::optional<Repository> repository;
    std::unique_ptr<ObjectStore> store;
    std::vector<Oid> parents; // of the headers that this worker read last

    CommitHeader read(const Oid& id, const Overrides& overrides, const Repository& original);
    bool fill(ObjectType type, std::string_view bytes, CommitHeader& header);
    CommitHeader readSlowly(const Oid& id, const Repository& original);
};

bool CommitHeaders::Worker::fill(ObjectType type, std::string_view bytes, CommitHeader& header)
{
    header.firstParent = std::uint32_t(parents.size());
    if (type == ObjectType::Commit) {
        header.kind = CommitHeader::Commit;
        if (!parseHeader(bytes, parents, header.time))
            return false;
    } else if (type == ObjectType::Tag) {
        header.kind = CommitHeader::Tag;
        Oid target;
        if (!parseTagTarget(bytes, target))
            return false;
        parents.push_back(target);
    } else {
        header.kind = CommitHeader::Other;
    }
    header.parentCount = std::uint32_t(parents.size()) - header.firstParent;
    return true;
}

CommitHeader CommitHeaders::Worker::readSlowly(const Oid& id, const Repository& original)
{
    CommitHeader header;
    if (!store) {
        auto opened = Repository::open(original.path());
        if (!opened)
            return header;
        repository.emplace(std::move(*opened));
        store = std::make_unique<ObjectStore>(*repository, std::size_t(4) << 20);
    }
    if (!store->contains(id))
        return header;
    const auto object = store->read(id);
    if (!object || !fill(object->type, object->view(), header))
        header.kind = CommitHeader::Damaged;
    return header;
}

CommitHeader CommitHeaders::Worker::read(const Oid& id, const Overrides& overrides, const Repository& original)
{
    const Oid from = overrides.replaced.standIn(id);
    CommitHeader header;
    auto object = reader.view(from, usualHeader);
    bool done = object && fill(object->type, object->bytes, header);
    if (object && !done && !object->whole) {
        object = reader.view(from);
        done = object && fill(object->type, object->bytes, header);
    }
    if (!done)
        header = readSlowly(from, original);
    if (header.kind != CommitHeader::Commit || overrides.empty())
        return header;
    if (const auto given = overrides.parentsOf(id)) {
        header.boundary = overrides.shallow.contains(id);
        header.firstParent = std::uint32_t(parents.size());
        header.parentCount = std::uint32_t(given->size());
        parents.insert(parents.end(), given->begin(), given->end());
    }
    return header;
}

CommitHeaders::CommitHeaders(const Repository& repository, const Overrides& overrides)
    : m_repository(repository), m_overrides(overrides), m_packs(PackFiles::open(objectFolders(repository.commonDir())))
{
}
CommitHeaders::~CommitHeaders() = default;

CommitHeaders::Batch CommitHeaders::read(std::span<const Oid> ids)
{
    const std::size_t cores = std::clamp<std::size_t>(std::thread::hardware_concurrency(), 1, 16);
    const std::size_t parts = std::clamp<std::size_t>(ids.size() / worthAThread, 1, cores);
    while (m_workers.size() < parts)
        m_workers.push_back(std::make_unique<Worker>(m_packs));
    Batch batch;
    batch.headers.resize(ids.size());
    const auto bound = [&](std::size_t part) { return ids.size() * part / parts; };
    const auto work = [&](std::size_t part) {
        Worker& worker = *m_workers[part];
        worker.parents.clear();
        for (std::size_t i = bound(part); i < bound(part + 1); ++i)
            batch.headers[i] = worker.read(ids[i], m_overrides, m_repository);
    };
    {
        std::vector<std::jthread> threads;
        for (std::size_t part = 1; part < parts; ++part)
            threads.emplace_back(work, part);
        work(0);
    }
    for (std::size_t part = 0; part < parts; ++part) {
        const auto shift = std::uint32_t(batch.parents.size());
        for (std::size_t i = bound(part); i < bound(part + 1); ++i)
            batch.headers[i].firstParent += shift;
        batch.parents.insert(batch.parents.end(), m_workers[part]->parents.begin(), m_workers[part]->parents.end());
    }
    return batch;
}

} // namespace espalier
