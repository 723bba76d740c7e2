// SPDX-License-Identifier: MIT
//
// Raw objects: the repository's, and new ones that live in memory until they are flushed. A dry run writes into one of
// these and so changes nothing; apply flushes the very same objects.
//
//     ObjectStore store(repository);
//     Result<Object> tree = store.read(id);
//     Oid blob = store.add(ObjectType::Blob, "text");     // in memory
//     Result<void> done = store.flush(progress);          // into the repository, durable when it returns
#pragma once

#include "core/git/error.h"
#include "core/git/oid.h"
#include "core/git/progress.h"
#include "core/git/repository.h"

#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct Overrides; // see overrides.h

enum class ObjectType : std::uint8_t { Commit = 1, Tree = 2, Blob = 3, Tag = 4 };

// An object's bytes without its header. Shared with the store's cache; immutable.
struct Object {
    ObjectType type = ObjectType::Blob;
    std::shared_ptr<const std::string> bytes;
    std::string_view view() const { return *bytes; }
};

// New objects kept in memory, by id. Immutable once a DryRun holds it, so that it may cross threads.
class NewObjects {
  public:
    NewObjects();
    ~NewObjects();
    NewObjects(const NewObjects&);
    NewObjects& operator=(const NewObjects&) = delete;

    // The id the object has in git's format (SHA-1 over header and bytes). Adding it twice is harmless.
    Oid add(ObjectType type, std::string bytes);
    // Null when it is not here.
    const Object* find(const Oid& id) const;
    std::size_t count() const;
    std::size_t bytes() const;
    std::vector<Oid> ids() const;

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

// Reads objects of one repository through a cache of bounded size, new ones first. One thread only.
//
// What is read has been checked: its SHA-1 is the id that was asked for, whatever has become of packs and indices. It is
// read from packs and loose files directly (PackReader); libgit2 is asked for what is not found there (indices of old
// formats, objects above 64 MiB), and checks the same. Where another object stands in for it (refs/replace), that one is
// read, as git does.
class ObjectStore {
  public:
    // `repository` must outlive the store. `cacheBytes` bounds what is kept of the objects read.
    explicit ObjectStore(const Repository& repository, std::size_t cacheBytes = std::size_t(64) << 20);
    ~ObjectStore();
    ObjectStore(const ObjectStore&) = delete;
    ObjectStore& operator=(const ObjectStore&) = delete;

    // Errors: Broken when the object is missing or damaged; `on` is its id.
    Result<Object> read(const Oid& id);
    Result<Object> read(const Oid& id, ObjectType expected);
    // For contents of which no more is wanted than a look: not kept, and not held against the id. Errors as read().
    Result<Object> readOnce(const Oid& id, ObjectType expected);
    // Only when it was read lately; for those who have a cheaper way to read many.
    std::optional<Object> cached(const Oid& id) const;
    bool contains(const Oid& id);
    // Size in bytes without reading the contents where the format allows it.
    Result<std::uint64_t> size(const Oid& id);

    Oid add(ObjectType type, std::string bytes);
    NewObjects& newObjects();
    // Replaces the new objects, e.g. by those of an earlier dry run.
    void replaceNewObjects(const NewObjects& objects);
    // Drops new objects (a batch does after every line); the cache of read ones stays.
    void dropNewObjects();

    const Repository& repository() const;
    // What git reads in place of what objects say, as it was when the store first read something; valid as long as the store.
    const Overrides& overrides();

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

// The SHA-1 that git gives an object of that type and those bytes, by libgit2, which notices attempts at a collision: such
// bytes get no id (zero).
Oid hashObject(ObjectType type, std::string_view bytes);
// The same, several times as quick, without that look.
Oid quickHash(ObjectType type, std::string_view bytes);

// Writes the objects that the repository lacks into it, a few of them loose, many as one pack, with fsync, so that a ref
// may name them afterwards. Their ids are computed once more, with the look for collision attacks (see hashObject). When it fails no ref names any of them. Errors: Storage, Cancelled.
Result<void> writeObjects(const Repository& repository, const NewObjects& objects, const Progress& progress = {});

} // namespace espalier
