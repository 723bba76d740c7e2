// SPDX-License-Identifier: MIT
#include "core/git/repository.h"

#include "core/git/handles.h"
#include "core/git/library.h"

#include <cstdlib>

namespace espalier {

namespace fs = std::filesystem;

namespace {

// What the config of a repository asks for that libgit2 cannot do. Read from the file itself, because libgit2 refuses
// such repositories with words that tell the user nothing.
Result<void> checkFormat(const fs::path& commonDir, const std::string& shown)
{
    Handle<git_config> config;
    if (git_config_open_ondisk(out(config), (commonDir / "config").c_str()) < 0)
        return {}; // no config file: libgit2 says what is wrong
    const auto value = [&](const char* key) {
        Buffer text;
        return git_config_get_string_buf(&text, config.get(), key) == 0 ? text.str() : std::string();
    };
    const std::string format = value("extensions.objectformat");
    if (!format.empty() && format != "sha1")
        return fail(ErrorKind::Unsupported, "The repository names its objects by " + format, shown,
                    "Espalier handles SHA-1 repositories; use git itself for this one");
    const std::string storage = value("extensions.refstorage");
    if (!storage.empty() && storage != "files")
        return fail(ErrorKind::Unsupported, "The repository keeps its refs in the format '" + storage + "'", shown,
                    "Espalier handles refs kept as files; git refs migrate --ref-format=files converts it");
    if (!value("extensions.partialclone").empty())
        return fail(ErrorKind::Unsupported, "The repository is a partial clone, which lacks objects on purpose", shown,
                    "Fetch the rest with git fetch --refetch, or use a full clone");
    return {};
}

// The folder that holds config and objects, found without libgit2; empty when there is none.
fs::path findCommonDir(const fs::path& path)
{
    Buffer found;
    if (git_repository_discover(&found, path.c_str(), 0, nullptr) == 0) {
        const fs::path gitDir = found.str();
        std::error_code ignored;
        if (fs::exists(gitDir / "commondir", ignored)) {
            Buffer text;
            Handle<git_repository> opened;
            if (git_repository_open_ext(out(opened), gitDir.c_str(), GIT_REPOSITORY_OPEN_NO_SEARCH, nullptr) == 0)
                return git_repository_commondir(opened.get());
        }
        return gitDir;
    }
    std::error_code ignored;
    for (fs::path at = fs::absolute(path, ignored); !at.empty(); at = at.parent_path()) {
        if (fs::exists(at / ".git" / "config", ignored))
            return at / ".git";
        if (at == at.parent_path())
            break;
    }
    return fs::exists(path / "config", ignored) && fs::exists(path / "HEAD", ignored) ? path : fs::path();
}

} // namespace

Result<Repository> Repository::open(const fs::path& path)
{
    startLibrary();
    std::error_code error;
    const std::string shown = path.string();
    if (path.empty() || !fs::exists(path, error))
        return fail(ErrorKind::NotFound, "There is no such folder", shown, "Check the path");
    if (const fs::path common = findCommonDir(path); !common.empty())
        if (auto fits = checkFormat(common, shown); !fits)
            return std::unexpected(fits.error());
    Handle<git_repository> opened;
    const int code = git_repository_open_ext(out(opened), path.c_str(), 0, nullptr);
    if (code == GIT_ENOTFOUND)
        return fail(ErrorKind::NotFound, "This folder is not in a git repository", shown,
                    "Open a clone, or clone the project first");
    if (code == GIT_EOWNER)
        return fail(ErrorKind::Refused, "The repository belongs to another user, whose settings could run programs", shown,
                    "When you trust it: git config --global --add safe.directory " + shown);
    if (code < 0)
        return libgitError("The repository cannot be opened", shown, "git fsck in it tells what is damaged");
    const char* workdir = git_repository_workdir(opened.get());
    fs::path reopen = workdir ? workdir : git_repository_path(opened.get());
    return Repository(opened.release(), std::move(reopen));
}

Repository::Repository(git_repository* handle, fs::path path) : m_handle(handle), m_path(std::move(path)) {}
Repository::Repository(Repository&& other) noexcept
    : m_handle(std::exchange(other.m_handle, nullptr)), m_path(std::move(other.m_path))
{
}
Repository& Repository::operator=(Repository&& other) noexcept
{
    std::swap(m_handle, other.m_handle);
    std::swap(m_path, other.m_path);
    return *this;
}
Repository::~Repository() { git_repository_free(m_handle); }

git_repository* raw(const Repository& repository) { return repository.m_handle; }

fs::path Repository::gitDir() const { return git_repository_path(m_handle); }
fs::path Repository::commonDir() const { return git_repository_commondir(m_handle); }
bool Repository::isBare() const { return git_repository_is_bare(m_handle) != 0; }

fs::path Repository::workDir() const
{
    const char* path = git_repository_workdir(m_handle);
    return path ? fs::path(path) : fs::path();
}

std::string Repository::name() const
{
    // Both paths end in a slash; a path's last part is then empty.
    return (isBare() ? gitDir() : workDir()).parent_path().filename().string();
}

std::optional<std::string> Repository::config(const std::string& key) const
{
    Handle<git_config> config;
    Buffer value;
    if (git_repository_config_snapshot(out(config), m_handle) < 0 ||
        git_config_get_string_buf(&value, config.get(), key.c_str()) < 0)
        return std::nullopt;
    return value.str();
}

bool Repository::configBool(const std::string& key, bool fallback) const
{
    Handle<git_config> config;
    int value = 0;
    if (git_repository_config_snapshot(out(config), m_handle) < 0 ||
        git_config_get_bool(&value, config.get(), key.c_str()) < 0)
        return fallback;
    return value != 0;
}

Result<void> Repository::setConfig(const std::string& key, const std::string& value)
{
    Handle<git_config> all, own;
    if (git_repository_config(out(all), m_handle) < 0 ||
        git_config_open_level(out(own), all.get(), GIT_CONFIG_LEVEL_LOCAL) < 0 ||
        git_config_set_string(own.get(), key.c_str(), value.c_str()) < 0)
        return libgitError("The setting cannot be written", key, "Check that the repository's config file is writable");
    return {};
}

Result<Oid> Repository::resolve(const std::string& revision) const
{
    Handle<git_object> named;
    if (git_revparse_single(out(named), m_handle, revision.c_str()) < 0)
        return fail(ErrorKind::NotFound, "The repository has nothing by that name", revision,
                    "Name a branch, a tag or a commit id");
    Handle<git_object> commit;
    if (git_object_peel(out(commit), named.get(), GIT_OBJECT_COMMIT) < 0)
        return fail(ErrorKind::NotFound, "That name does not stand for a commit", revision,
                    "Name a branch, a tag or a commit id");
    return fromGit(*git_object_id(commit.get()));
}

Result<Identity> committerIdentity(const Repository& repository)
{
    const auto pick = [&](const char* variable, const char* key, const char* lastVariable) -> std::string {
        if (const char* value = std::getenv(variable); value && *value)
            return value;
        if (auto value = repository.config(key); value && !value->empty())
            return *value;
        if (lastVariable)
            if (const char* value = std::getenv(lastVariable); value && *value)
                return value;
        return {};
    };
    Identity identity{pick("GIT_COMMITTER_NAME", "committer.name", nullptr),
                      pick("GIT_COMMITTER_EMAIL", "committer.email", nullptr)};
    if (identity.name.empty())
        identity.name = repository.config("user.name").value_or("");
    if (identity.email.empty())
        identity.email = pick("GIT_COMMITTER_EMAIL", "user.email", "EMAIL");
    if (identity.name.empty() || identity.email.empty())
        return fail(ErrorKind::Refused, "git does not know who you are, so new commits cannot be made",
                    identity.name.empty() ? "user.name" : "user.email",
                    "Set both: git config --global user.name \"Your Name\" and git config --global user.email you@example.org");
    return identity;
}

} // namespace espalier
