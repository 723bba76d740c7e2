// SPDX-License-Identifier: MIT
#include "core/history/quick_objects.h"

#include "core/git/overrides.h"
#include "core/history/commit_headers.h"

namespace espalier {

namespace {
// What a slot keeps at most; the reader's own cache of bases has what is larger.
constexpr std::size_t largestKept = std::size_t(64) << 10;
} // namespace

std::shared_ptr<const QuickFiles> QuickFiles::open(const Repository& repository)
{
    auto files = std::make_shared<QuickFiles>();
    const auto folders = objectFolders(repository.commonDir());
    files->packs = PackFiles::open(folders);
    if (readOverrides(repository).empty())
        if (auto graph = CommitGraph::open(folders))
            files->graph = std::move(*graph);
    return files;
}

std::unique_ptr<QuickReader> QuickFiles::takeReader() const
{
    {
        const std::scoped_lock locked(m_lock);
        if (m_spare)
            return std::move(m_spare);
    }
    return std::make_unique<QuickReader>(packs);
}

void QuickFiles::giveBack(std::unique_ptr<QuickReader> reader) const
{
    const std::scoped_lock locked(m_lock);
    if (!m_spare)
        m_spare = std::move(reader);
}

QuickObjects::QuickObjects(ObjectStore& store, std::shared_ptr<const QuickFiles> files)
    : m_store(store), m_files(std::move(files))
{
}

QuickObjects::~QuickObjects()
{
    if (m_reader)
        m_files->giveBack(std::move(m_reader));
}

Result<Oid> QuickObjects::commit(const Oid& id, std::vector<Oid>& parents)
{
    const Overrides& overrides = m_store.overrides();
    if (m_files->graph && overrides.empty()) {
        if (const auto position = m_files->graph->find(id)) {
            m_positions.clear();
            m_files->graph->parentsAt(*position, m_positions);
            for (const std::uint32_t parent : m_positions)
                parents.push_back(m_files->graph->idAt(parent));
            return m_files->graph->treeAt(*position);
        }
    }
    const auto bytes = read(id, ObjectType::Commit);
    if (!bytes)
        return std::unexpected(bytes.error());
    std::int64_t time = 0;
    const std::string_view text = **bytes;
    const auto tree = text.starts_with("tree ") ? Oid::parse(text.substr(5, 40)) : std::nullopt;
    const std::size_t before = parents.size();
    if (!tree || !parseHeader(text, parents, time))
        return fail(ErrorKind::Broken, "A commit is damaged", id.hex(), "Run git fsck in the repository");
    if (const auto given = overrides.parentsOf(id)) {
        parents.resize(before);
        parents.insert(parents.end(), given->begin(), given->end());
    }
    return *tree;
}

Result<std::shared_ptr<const std::string>> QuickObjects::read(const Oid& id, ObjectType type)
{
    // Another object stands in for some: the store knows for which.
    if (!m_store.overrides().replaced.objects.empty())
        return m_store.read(id, type).transform([](const Object& object) { return object.bytes; });
    if (type == ObjectType::Commit || !m_reader)
        if (auto kept = m_store.cached(id); kept && kept->type == type)
            return std::move(kept->bytes);
    if (!m_reader)
        m_reader = m_files->takeReader();
    QuickReader::Slot& slot = m_reader->slots[std::hash<Oid>()(id) % m_reader->slots.size()];
    if (slot.bytes && slot.id == id)
        return slot.bytes;
    std::shared_ptr<const std::string> bytes;
    if (auto object = m_reader->packs.readUnchecked(id); object && object->type == type) {
        bytes = std::move(object->bytes);
    } else {
        auto slow = m_store.read(id, type);
        if (!slow)
            return std::unexpected(slow.error());
        bytes = slow->bytes;
    }
    if (bytes->size() <= largestKept)
        slot = {id, bytes};
    return bytes;
}

namespace {

struct QuickTrees {
    QuickObjects& objects;
    Result<Object> operator()(const Oid& id) const
    {
        if (id.isZero())
            return openTree(objects.store(), id);
        auto bytes = objects.read(id, ObjectType::Tree);
        if (!bytes)
            return std::unexpected(bytes.error());
        return Object{ObjectType::Tree, std::move(*bytes)};
    }
};

} // namespace

Result<std::optional<std::vector<PathChange>>> treeChanges(QuickObjects& objects, const Oid& oldTree,
                                                           const Oid& newTree,
                                                           const std::function<bool(const std::string&)>& wanted)
{
    return treeChanges(QuickTrees{objects}, oldTree, newTree, wanted);
}

} // namespace espalier
