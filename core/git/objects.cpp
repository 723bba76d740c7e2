// SPDX-License-Identifier: MIT
#include "core/git/objects.h"

#include "core/git/handles.h"
#include "core/git/library.h"
#include "core/git/overrides.h"
#include "core/git/pack_reader.h"
#include "core/git/sha1.h"

#include <charconv>

#include <git2/sys/mempack.h>
#include <git2/sys/odb_backend.h>

#include <unordered_map>

namespace espalier {

Oid hashObject(ObjectType type, std::string_view bytes)
{
    startLibrary();
    git_oid id;
    return git_odb_hash(&id, bytes.data(), bytes.size(), git_object_t(type)) < 0 ? Oid{} : fromGit(id);
}

Oid quickHash(ObjectType type, std::string_view bytes)
{
    static constexpr std::string_view names[] = {"", "commit ", "tree ", "blob ", "tag "};
    char header[32];
    const std::string_view name = names[std::size_t(type)];
    char* end = std::copy(name.begin(), name.end(), header);
    end = std::to_chars(end, header + sizeof header - 1, bytes.size()).ptr;
    *end++ = '\0';
    static thread_local Sha1 sum; // dear to make
    sum.add({header, std::size_t(end - header)});
    sum.add(bytes);
    return sum.finish();
}

namespace {

std::unexpected<Error> missingOrDamaged(const Oid& id)
{
    return fail(ErrorKind::Broken, "An object of the repository is missing or damaged", id.hex(),
                "Fetch it again, or run git fsck in the repository");
}

const Oid emptyTree = *Oid::parse(emptyTreeHex);

} // namespace

struct NewObjects::Data {
    std::unordered_map<Oid, Object> objects;
    std::vector<Oid> order;
    std::size_t bytes = 0;
};

NewObjects::NewObjects() : m_data(std::make_unique<Data>()) {}
NewObjects::~NewObjects() = default;
NewObjects::NewObjects(const NewObjects& other) : m_data(std::make_unique<Data>(*other.m_data)) {}

Oid NewObjects::add(ObjectType type, std::string bytes)
{
    const Oid id = quickHash(type, bytes);
    const auto [at, isNew] = m_data->objects.try_emplace(id);
    if (isNew) {
        m_data->bytes += bytes.size();
        m_data->order.push_back(id);
        at->second = {type, std::make_shared<const std::string>(std::move(bytes))};
    }
    return id;
}

const Object* NewObjects::find(const Oid& id) const
{
    const auto at = m_data->objects.find(id);
    return at == m_data->objects.end() ? nullptr : &at->second;
}

std::size_t NewObjects::count() const { return m_data->order.size(); }
std::size_t NewObjects::bytes() const { return m_data->bytes; }
std::vector<Oid> NewObjects::ids() const { return m_data->order; }

struct ObjectStore::Data {
    Data(const Repository& from, std::size_t cacheBytes) : repository(from), limit(cacheBytes) {}

    const Repository& repository;
    std::optional<Overrides> overrides; // read when something is first read
    std::unique_ptr<PackReader> packs;  // opened when first read from
    std::uint64_t packsState = 0;
    Handle<git_odb> odb; // opened when the packs do not answer
    std::unique_ptr<NewObjects> ownObjects = std::make_unique<NewObjects>();
    std::size_t limit;
    std::size_t used = 0;
    // Two generations: when the young one is full it becomes the old one, and what was there before goes. An object
    // that is read again moves to the young one. No list to keep in order on the hot path.
    std::unordered_map<Oid, Object> young, old;

    void remember(const Oid& id, const Object& object)
    {
        const std::size_t cost = object.bytes->size() + 96;
        if (cost > limit / 4)
            return;
        if (used + cost > limit / 2) {
            old = std::move(young);
            young = {};
            used = 0;
        }
        if (young.emplace(id, object).second)
            used += cost;
    }

    // Asks the packs, and once more where others have come since they were opened: a second program may have fetched, or
    // repacked what was loose.
    template <typename Ask> auto fromPacks(Ask ask) -> decltype(ask(*packs))
    {
        if (packs)
            if (auto found = ask(*packs))
                return found;
        const auto folders = objectFolders(repository.commonDir());
        const std::uint64_t state = packFoldersState(folders);
        if (packs && state == packsState)
            return {};
        packsState = state;
        packs = std::make_unique<PackReader>(PackFiles::open(folders), limit * 3 / 4); // beside what `limit` bounds
        return ask(*packs);
    }

    const Overrides& known()
    {
        if (!overrides)
            overrides = readOverrides(repository);
        return *overrides;
    }

    Oid standIn(const Oid& id)
    {
        const Replaced& replaced = known().replaced;
        return replaced.objects.empty() ? id : replaced.standIn(id);
    }

    git_odb* library()
    {
        if (!odb)
            git_repository_odb(out(odb), raw(repository));
        return odb.get();
    }

    Result<Object> fromLibrary(const Oid& id)
    {
        const git_oid raw = toGit(id);
        Handle<git_odb_object> found;
        if (!library() || git_odb_read(out(found), odb.get(), &raw) < 0)
            return missingOrDamaged(id);
        const git_object_t type = git_odb_object_type(found.get());
        if (type < GIT_OBJECT_COMMIT || type > GIT_OBJECT_TAG)
            return fail(ErrorKind::Broken, "An object of the repository is of no known kind", id.hex(),
                        "Run git fsck in the repository");
        const std::string_view bytes(static_cast<const char*>(git_odb_object_data(found.get())),
                                     git_odb_object_size(found.get()));
        if (quickHash(ObjectType(type), bytes) != id)
            return missingOrDamaged(id);
        return Object{ObjectType(type), std::make_shared<const std::string>(bytes)};
    }
};

ObjectStore::ObjectStore(const Repository& repository, std::size_t cacheBytes)
    : m_data(std::make_unique<Data>(repository, cacheBytes))
{
}

ObjectStore::~ObjectStore() = default;

const Overrides& ObjectStore::overrides() { return m_data->known(); }

const Repository& ObjectStore::repository() const { return m_data->repository; }
NewObjects& ObjectStore::newObjects() { return *m_data->ownObjects; }
void ObjectStore::replaceNewObjects(const NewObjects& objects)
{
    m_data->ownObjects = std::make_unique<NewObjects>(objects);
}
void ObjectStore::dropNewObjects() { m_data->ownObjects = std::make_unique<NewObjects>(); }
Oid ObjectStore::add(ObjectType type, std::string bytes) { return m_data->ownObjects->add(type, std::move(bytes)); }

std::optional<Object> ObjectStore::cached(const Oid& id) const
{
    if (const auto at = m_data->young.find(id); at != m_data->young.end())
        return at->second;
    return std::nullopt;
}

Result<Object> ObjectStore::read(const Oid& named)
{
    if (const Object* fresh = m_data->ownObjects->find(named))
        return *fresh;
    const Oid id = m_data->standIn(named);
    if (const auto at = m_data->young.find(id); at != m_data->young.end())
        return at->second;
    if (const auto at = m_data->old.find(id); at != m_data->old.end()) {
        Object object = at->second;
        m_data->remember(id, object);
        return object;
    }
    if (id == emptyTree)
        return Object{ObjectType::Tree, std::make_shared<const std::string>()};
    if (auto packed = m_data->fromPacks([&](PackReader& packs) { return packs.readChecked(id); })) {
        m_data->remember(id, *packed);
        return std::move(*packed);
    }
    // libgit2 does not survive every damage to an index; what is there and damaged it could not read either.
    if (m_data->packs->foundDamaged())
        return missingOrDamaged(id);
    auto object = m_data->fromLibrary(id);
    if (object)
        m_data->remember(id, *object);
    return object;
}

Result<Object> ObjectStore::read(const Oid& id, ObjectType expected)
{
    auto object = read(id);
    if (object && object->type != expected)
        return fail(ErrorKind::Broken, "An object of the repository is of another kind than it should be", id.hex(),
                    "Run git fsck in the repository");
    return object;
}

Result<Object> ObjectStore::readOnce(const Oid& named, ObjectType expected)
{
    const Oid id = m_data->standIn(named);
    const bool here = m_data->ownObjects->find(id) || m_data->young.contains(id) || m_data->old.contains(id);
    if (!here)
        if (auto packed = m_data->fromPacks([&](PackReader& packs) { return packs.readOnce(id); }))
            if (packed->type == expected)
                return std::move(*packed);
    return read(named, expected);
}

bool ObjectStore::contains(const Oid& id)
{
    if (m_data->ownObjects->find(id) || m_data->young.contains(id) || m_data->old.contains(id))
        return true;
    if (m_data->fromPacks([&](PackReader& packs) { return packs.contains(id); }))
        return true;
    const git_oid raw = toGit(id);
    return m_data->library() && git_odb_exists(m_data->odb.get(), &raw) == 1;
}

Result<std::uint64_t> ObjectStore::size(const Oid& named)
{
    if (const Object* fresh = m_data->ownObjects->find(named))
        return fresh->bytes->size();
    const Oid id = m_data->standIn(named);
    if (const auto at = m_data->young.find(id); at != m_data->young.end())
        return at->second.bytes->size();
    if (const auto packed = m_data->fromPacks([&](PackReader& packs) { return packs.size(id); }))
        return *packed;
    if (m_data->packs->foundDamaged())
        return missingOrDamaged(id);
    const git_oid raw = toGit(id);
    std::size_t size = 0;
    git_object_t type;
    if (!m_data->library() || git_odb_read_header(&size, &type, m_data->odb.get(), &raw) < 0)
        return missingOrDamaged(id);
    return size;
}

namespace {

struct PackBuilderFree {
    void operator()(git_packbuilder* p) const { git_packbuilder_free(p); }
};

// A few objects are as quick to flush one by one, and spare the repository a pack each.
constexpr std::size_t fewEnoughToStayLoose = 24;

std::unexpected<Error> cannotWrite(const Repository& repository)
{
    return libgitError("The new commits cannot be written", repository.gitDir().string(),
                       "Nothing was changed. Check the free space and the permissions of the repository");
}

Result<void> writeLoose(const Repository& repository, git_odb* odb, const NewObjects& objects,
                        const std::vector<Oid>& missing, const Progress& progress)
{
    std::uint64_t done = 0;
    for (const Oid& id : missing) {
        if (progress.stopped())
            return cancelled();
        progress.report("Writing objects", done++, missing.size());
        const Object* object = objects.find(id);
        git_oid written;
        if (git_odb_write(&written, odb, object->bytes->data(), object->bytes->size(), git_object_t(object->type)) < 0)
            return cannotWrite(repository);
    }
    return {};
}

// The pack builder asks the object database for what it packs; a backend in memory answers it.
Result<void> writePack(const Repository& repository, git_repository* own, git_odb* odb, const NewObjects& objects,
                       const std::vector<Oid>& missing, const Progress& progress)
{
    git_odb_backend* memory = nullptr;
    if (git_mempack_new(&memory) < 0 || git_odb_add_backend(odb, memory, 999) < 0)
        return cannotWrite(repository);
    git_packbuilder* made = nullptr;
    if (git_packbuilder_new(&made, own) < 0)
        return cannotWrite(repository);
    const std::unique_ptr<git_packbuilder, PackBuilderFree> pack(made);
    std::uint64_t done = 0;
    for (const Oid& id : missing) {
        if (progress.stopped())
            return cancelled();
        progress.report("Writing objects", done++, missing.size());
        const Object* object = objects.find(id);
        const git_oid raw = toGit(id);
        // Straight into the backend: git_odb_write would first search the disk for each of them again.
        if (memory->write(memory, &raw, object->bytes->data(), object->bytes->size(), git_object_t(object->type)) < 0 ||
            git_packbuilder_insert(pack.get(), &raw, nullptr) < 0)
            return cannotWrite(repository);
    }
    if (progress.stopped())
        return cancelled();
    if (git_packbuilder_write(pack.get(), nullptr, 0, nullptr, nullptr) < 0)
        return cannotWrite(repository);
    return {};
}

} // namespace

Result<void> writeObjects(const Repository& repository, const NewObjects& objects, const Progress& progress)
{
    // A handle of its own: the memory backend must not stay in the caller's.
    Handle<git_repository> own;
    Handle<git_odb> odb;
    if (git_repository_open_ext(out(own), repository.gitDir().c_str(), GIT_REPOSITORY_OPEN_NO_SEARCH, nullptr) < 0 ||
        git_repository_odb(out(odb), own.get()) < 0)
        return cannotWrite(repository);
    std::vector<Oid> missing;
    for (const Oid& id : objects.ids()) {
        const git_oid raw = toGit(id);
        // The handle is new: looking at the disk again for every object that is not there would find nothing.
        if (git_odb_exists_ext(odb.get(), &raw, GIT_ODB_LOOKUP_NO_REFRESH) == 1)
            continue;
        const Object* object = objects.find(id);
        if (hashObject(object->type, object->view()) != id)
            return fail(ErrorKind::Broken, "A new object looks like an attempt at a SHA-1 collision", id.hex(),
                        "Nothing was changed. Look at where the commits come from");
        missing.push_back(id);
    }
    if (missing.size() <= fewEnoughToStayLoose)
        return writeLoose(repository, odb.get(), objects, missing, progress);
    return writePack(repository, own.get(), odb.get(), objects, missing, progress);
}

} // namespace espalier
