// SPDX-License-Identifier: MIT
//
// libgit2's objects in handles that free themselves. For .cpp files and private headers of core only: no public header
// includes git2.h.
//
//     Handle<git_commit> commit;
//     if (git_commit_lookup(out(commit), repository, &id) < 0)
//         return libgitError("The commit cannot be read", hex);
#pragma once

#include "core/git/error.h"
#include "core/git/oid.h"
#include "core/git/repository.h"

#include <git2.h>

#include <memory>

namespace espalier {

template <typename T> struct HandleFree;
#define ESPALIER_HANDLE(type, function)                                                                                \
    template <> struct HandleFree<type> {                                                                              \
        void operator()(type* p) const noexcept { function(p); }                                                       \
    };
ESPALIER_HANDLE(git_repository, git_repository_free)
ESPALIER_HANDLE(git_commit, git_commit_free)
ESPALIER_HANDLE(git_tree, git_tree_free)
ESPALIER_HANDLE(git_blob, git_blob_free)
ESPALIER_HANDLE(git_tag, git_tag_free)
ESPALIER_HANDLE(git_object, git_object_free)
ESPALIER_HANDLE(git_odb, git_odb_free)
ESPALIER_HANDLE(git_odb_object, git_odb_object_free)
ESPALIER_HANDLE(git_reference, git_reference_free)
ESPALIER_HANDLE(git_reference_iterator, git_reference_iterator_free)
ESPALIER_HANDLE(git_branch_iterator, git_branch_iterator_free)
ESPALIER_HANDLE(git_config, git_config_free)
ESPALIER_HANDLE(git_config_entry, git_config_entry_free)
ESPALIER_HANDLE(git_config_iterator, git_config_iterator_free)
ESPALIER_HANDLE(git_index, git_index_free)
ESPALIER_HANDLE(git_index_conflict_iterator, git_index_conflict_iterator_free)
ESPALIER_HANDLE(git_remote, git_remote_free)
ESPALIER_HANDLE(git_revwalk, git_revwalk_free)
ESPALIER_HANDLE(git_status_list, git_status_list_free)
ESPALIER_HANDLE(git_diff, git_diff_free)
ESPALIER_HANDLE(git_patch, git_patch_free)
ESPALIER_HANDLE(git_signature, git_signature_free)
ESPALIER_HANDLE(git_transaction, git_transaction_free)
ESPALIER_HANDLE(git_treebuilder, git_treebuilder_free)
ESPALIER_HANDLE(git_tree_entry, git_tree_entry_free)
ESPALIER_HANDLE(git_worktree, git_worktree_free)
ESPALIER_HANDLE(git_reflog, git_reflog_free)
ESPALIER_HANDLE(git_mailmap, git_mailmap_free)
ESPALIER_HANDLE(git_describe_result, git_describe_result_free)
#undef ESPALIER_HANDLE

template <typename T> using Handle = std::unique_ptr<T, HandleFree<T>>;

// Lets a libgit2 function fill a handle: `git_odb_open(out(odb), path)`.
template <typename T> auto out(Handle<T>& handle) { return std::out_ptr(handle); }

// A git_buf, git_strarray or git_oidarray on the stack that frees itself.
struct Buffer : git_buf {
    Buffer() : git_buf{} {}
    ~Buffer() { git_buf_dispose(this); }
    Buffer(const Buffer&) = delete;
    Buffer& operator=(const Buffer&) = delete;
    std::string str() const { return {ptr ? ptr : "", size}; }
};
struct StringArray : git_strarray {
    StringArray() : git_strarray{} {}
    ~StringArray() { git_strarray_dispose(this); }
    StringArray(const StringArray&) = delete;
    StringArray& operator=(const StringArray&) = delete;
};

inline Oid fromGit(const git_oid& id) { return Oid::fromRaw(id.id); }
inline git_oid toGit(const Oid& id)
{
    git_oid raw;
    git_oid_fromraw(&raw, id.bytes.data());
    return raw;
}

// The last libgit2 error as ours: its class gives the kind, its text is kept in brackets at the end of `what` only when
// it adds something. Call it right after the failing call, on the same thread.
std::unexpected<Error> libgitError(std::string what, std::string on = {}, std::string remedy = {});

// The handle inside; belongs to `repository`, valid as long as it lives. One thread only.
git_repository* raw(const Repository& repository);

} // namespace espalier
