// SPDX-License-Identifier: MIT
//
// An opened repository: where it is and how to read its configuration. A Repository belongs to one thread; a worker
// opens its own from the same path (opening costs well under a millisecond).
//
//     auto repository = Repository::open("/home/mira/src/tidebook");
//     if (!repository)
//         return repository.error();
#pragma once

#include "core/git/error.h"
#include "core/git/oid.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

struct git_repository;

namespace espalier {

class Repository {
  public:
    // Opens the repository at `path`: its worktree, a folder inside it, its git directory, or a bare repository.
    // Errors: NotFound (no such path, or not a repository), Unsupported (SHA-256 objects, reftable, partial clone), Broken.
    static Result<Repository> open(const std::filesystem::path& path);

    Repository(Repository&&) noexcept;
    Repository& operator=(Repository&&) noexcept;
    ~Repository();

    // The path to open the same repository again from another thread.
    const std::filesystem::path& path() const { return m_path; }
    // The git directory of this worktree, and the one that all worktrees share (refs, objects, config).
    std::filesystem::path gitDir() const;
    std::filesystem::path commonDir() const;
    // Empty for a bare repository.
    std::filesystem::path workDir() const;
    bool isBare() const;
    // The last part of the worktree's (or the bare repository's) path.
    std::string name() const;

    // A configuration value with the usual precedence, the environment's included; nothing when it is not set.
    std::optional<std::string> config(const std::string& key) const;
    bool configBool(const std::string& key, bool fallback) const;
    // For what must not be guessed. Errors: Broken, naming the key, when the value means neither yes nor no.
    Result<bool> checkedBool(const std::string& key, bool fallback) const;
    // Sets a value in the repository's own config file.
    Result<void> setConfig(const std::string& key, const std::string& value) const;

    // What a name stands for: a full or short ref, an id or its unique beginning, or git's revision syntax.
    // Peeled to a commit. Errors: NotFound.
    Result<Oid> resolve(const std::string& revision) const;

  private:
    explicit Repository(git_repository* handle, std::filesystem::path path);
    friend git_repository* raw(const Repository&);
    git_repository* m_handle = nullptr;
    std::filesystem::path m_path;
};

// Who makes new commits: user.name and user.email with the environment's precedence (GIT_COMMITTER_*), common practice.
struct Identity {
    std::string name;
    std::string email;
    friend bool operator==(const Identity&, const Identity&) = default;
};
// Errors: Refused with how to set both when either is missing.
Result<Identity> committerIdentity(const Repository& repository);

} // namespace espalier
