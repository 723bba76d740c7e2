// SPDX-License-Identifier: MIT
//
// All refs of a repository in one go: packed-refs and loose files, read directly (gitrepository-layout(5)), because tens of
// thousands of them through handles cost more than the whole history.
//
//     RawRefs refs = readRawRefs(repository);
//     for (const RawRef& ref : refs.list) …     // sorted by name
#pragma once

#include "core/git/oid.h"
#include "core/git/repository.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct RawRef {
    std::string name;
    Oid id;             // zero for a symbolic ref
    Oid peeled;         // what a tag stands for, where packed-refs says it; else zero
    std::string target; // of a symbolic ref: the name it points at
};

struct RawRefs {
    std::vector<RawRef> list;         // sorted by name, a loose ref before the packed one of its name
    std::vector<std::string> notices; // refs that cannot be read, passed over: the list is not whole then
    std::optional<Error> unreadable;  // the file of the packed ones, or a folder, cannot be read at all
};

// Only names that begin with `prefix`, which ends in '/'.
RawRefs readRawRefs(const Repository& repository, std::string_view prefix = "refs/");

// What git and libgit2 open without a look at what it is: HEAD, the index, the configuration, and everything below refs/.
// Errors: Broken when one of them is a pipe, a socket or a device, which a reader might wait for without end.
Result<void> checkRefsArePlain(const Repository& repository);

// HEAD of a git directory: a symbolic name, or an id when detached; both empty when it cannot be read.
struct HeadContent {
    std::string branch;
    Oid id;
};
HeadContent headContent(const std::filesystem::path& gitDir);

} // namespace espalier
