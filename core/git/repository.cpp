// SPDX-License-Identifier: MIT
#include "core/git/repository.h"

#include "core/git/asked_config.h"
#include "core/git/config_edit.h"
#include "core/git/files.h"
#include "core/git/handles.h"
#include "core/git/library.h"
#include "core/git/loose_guard.h"

#include <git2/sys/repository.h>

#include <cstdlib>

namespace espalier {

namespace fs = std::filesystem;

namespace {

// What the config of a repository asks for that libgit2 cannot do. Read from the file itself, because libgit2 refuses
// such repositories with words that tell the user nothing, or opens a partial clone and stumbles later.
Result<void> checkFormat(const fs::path& commonDir, const std::string& shown)
{
    const fs::path file = commonDir / "config";
    if (const auto bytes = readFileBounded(file, std::size_t(64) << 20);
        bytes ? bytes->contains('\0') : bytes.error().kind != ErrorKind::NotFound)
        return fail(ErrorKind::Broken, "The configuration cannot be read", file.string(),
                    "Correct the file, or bring it back from a copy");
    Handle<git_config> config;
    if (git_config_open_ondisk(out(config), file.c_str()) < 0)
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
    bool promised = !value("extensions.partialclone").empty();
    git_config_foreach_match(
        config.get(), "^remote\\..*\\.(promisor|partialclonefilter)$",
        [](const git_config_entry* entry, void* found) {
            int isTrue = 0;
            const bool filter = std::string_view(entry->name).ends_with("filter");
            if (filter || (git_config_parse_bool(&isTrue, entry->value) == 0 && isTrue))
                *static_cast<bool*>(found) = true;
            return 0;
        },
        &promised);
    if (promised)
        return fail(ErrorKind::Unsupported, "The repository is a partial clone, which lacks objects on purpose", shown,
                    "Make a full clone of it and open that one");
    return {};
}

// The folder that holds config and objects of the git directory of a worktree (gitrepository-layout's "commondir").
fs::path commonDirOf(const fs::path& gitDir)
{
    const fs::path named = firstLine(gitDir / "commondir");
    return named.empty() ? gitDir : named.is_absolute() ? named : gitDir / named;
}

// The folder with the config, found without libgit2's judgement of it; empty when there is none.
fs::path findCommonDir(const fs::path& path)
{
    std::error_code ignored;
    const fs::path start = fs::weakly_canonical(fs::absolute(path, ignored), ignored);
    for (fs::path at = start; !at.empty(); at = at.parent_path()) {
        const fs::path dotGit = at / ".git";
        if (fs::is_directory(dotGit, ignored))
            return commonDirOf(dotGit);
        if (fs::is_regular_file(dotGit, ignored)) {
            constexpr std::string_view prefix = "gitdir: ";
            const std::string line = firstLine(dotGit);
            if (line.starts_with(prefix))
                return commonDirOf(at / line.substr(prefix.size()));
        }
        if (fs::exists(at / "HEAD", ignored) &&
            (fs::exists(at / "objects", ignored) || fs::exists(at / "commondir", ignored)))
            return commonDirOf(at);
        if (at == at.parent_path())
            break;
    }
    return {};
}

} // namespace

namespace {

// The folder that git compares with safe.directory: the worktree, or the bare repository.
std::string ownedFolder(const fs::path& path)
{
    const fs::path common = findCommonDir(path);
    std::error_code ignored;
    const fs::path whole = fs::weakly_canonical(common, ignored);
    return (whole.filename() == ".git" ? whole.parent_path() : whole).string();
}

// Of what makes a folder a repository (gitrepository-layout(5)): the part that is not there, or not as it should be.
std::string lacks(const fs::path& commonDir)
{
    std::error_code ignored;
    for (const char* folder : {"objects", "refs"})
        if (!fs::is_directory(commonDir / folder, ignored))
            return std::string("folder ") + folder;
    return "HEAD";
}

// git's own variables for where its settings are; libgit2 looks at none of them.
void useEnvironment(git_repository* repository)
{
    const char* const system = std::getenv("GIT_CONFIG_SYSTEM");
    const char* const global = std::getenv("GIT_CONFIG_GLOBAL");
    const char* const noSystem = std::getenv("GIT_CONFIG_NOSYSTEM");
    int isNoSystem = 0;
    if (noSystem)
        git_config_parse_bool(&isNoSystem, noSystem);
    if (!system && !global && !isNoSystem)
        return;
    Handle<git_config> config;
    if (git_config_new(out(config)) < 0)
        return;
    const auto add = [&](const std::string& file, git_config_level_t level) {
        std::error_code ignored;
        if (fs::exists(file, ignored))
            git_config_add_file_ondisk(config.get(), file.c_str(), level, repository, 0);
    };
    const auto addFound = [&](int (*find)(git_buf*), git_config_level_t level) {
        Buffer file;
        if (find(&file) == 0)
            add(file.str(), level);
    };
    if (system && !isNoSystem)
        add(system, GIT_CONFIG_LEVEL_SYSTEM);
    else if (!isNoSystem)
        addFound(git_config_find_system, GIT_CONFIG_LEVEL_SYSTEM);
    if (global) {
        add(global, GIT_CONFIG_LEVEL_GLOBAL);
    } else {
        addFound(git_config_find_xdg, GIT_CONFIG_LEVEL_XDG);
        addFound(git_config_find_global, GIT_CONFIG_LEVEL_GLOBAL);
    }
    const fs::path common = git_repository_commondir(repository);
    git_config_add_file_ondisk(config.get(), (common / "config").c_str(), GIT_CONFIG_LEVEL_LOCAL, repository, 0);
    int perWorktree = 0;
    if (git_config_get_bool(&perWorktree, config.get(), "extensions.worktreeconfig") == 0 && perWorktree)
        add((fs::path(git_repository_path(repository)) / "config.worktree").string(), GIT_CONFIG_LEVEL_WORKTREE);
    git_repository_set_config(repository, config.get());
}

// A git directory of another name than .git, with no worktree named and no .git beside it: git works in it as in a bare one
// (setup.c; common practice), also where core.bare is not set. libgit2 takes the folder around it for its worktree.
bool takesFolderAroundForWorktree(git_repository* repository)
{
    const char* const workdir = git_repository_workdir(repository);
    if (!workdir || git_repository_is_worktree(repository))
        return false;
    const fs::path gitDir = fs::path(git_repository_path(repository)).parent_path(), around = gitDir.parent_path();
    std::error_code ignored;
    if (gitDir.filename() == ".git" || fs::path(workdir).parent_path() != around ||
        fs::exists(around / ".git", ignored))
        return false;
    Handle<git_config> config;
    Buffer named;
    return git_repository_config_snapshot(out(config), repository) == 0 &&
           git_config_get_string_buf(&named, config.get(), "core.worktree") == GIT_ENOTFOUND;
}

// git looks for damage in objects: neither a format of the future nor a pointer to nowhere is any.
std::string helpToOpen(const fs::path& path)
{
    const git_error* const last = git_error_last();
    if (last && last->message && std::string_view(last->message).starts_with("unsupported"))
        return "Espalier does not know this format; use git itself for it";
    std::error_code ignored;
    if (fs::is_regular_file(path / ".git", ignored))
        return "Write gitdir: FOLDER into its file .git, with the repository's folder, or clone again";
    return "git fsck in it tells what is damaged";
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
    int code = git_repository_open_ext(out(opened), path.c_str(), 0, nullptr);
    if (code == 0 && takesFolderAroundForWorktree(opened.get())) {
        const std::string gitDir = git_repository_path(opened.get());
        opened.reset();
        code = git_repository_open_ext(out(opened), gitDir.c_str(),
                                       GIT_REPOSITORY_OPEN_BARE | GIT_REPOSITORY_OPEN_NO_SEARCH, nullptr);
    }
    if (const fs::path common = findCommonDir(path); code == GIT_ENOTFOUND && !common.empty())
        return fail(ErrorKind::Broken, "git would not take this for a repository: it lacks its " + lacks(common),
                    common.string(), "Bring it back from a copy, or clone again; nothing was changed");
    if (code == GIT_ENOTFOUND)
        return fail(ErrorKind::NotFound, "This folder is not in a git repository", shown,
                    "Open a clone, or clone the project first");
    if (code == GIT_EOWNER)
        return fail(ErrorKind::Refused, "The repository belongs to another user, whose settings could run programs",
                    shown, "When you trust it: git config --global --add safe.directory '" + ownedFolder(path) + "'");
    if (code < 0)
        return libgitError("The repository cannot be opened", shown, helpToOpen(path));
    useEnvironment(opened.get());
    if (auto complete = addAskedConfig(opened.get()); !complete)
        return std::unexpected(complete.error());
    guardLooseObjects(opened.get());
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
    if (git_repository_config(out(config), m_handle) < 0 ||
        git_config_get_string_buf(&value, config.get(), key.c_str()) < 0)
        return std::nullopt;
    return value.str();
}

bool Repository::configBool(const std::string& key, bool fallback) const
{
    Handle<git_config> config;
    int value = 0;
    if (git_repository_config(out(config), m_handle) < 0 || git_config_get_bool(&value, config.get(), key.c_str()) < 0)
        return fallback;
    return value != 0;
}

Result<bool> Repository::checkedBool(const std::string& key, bool fallback) const
{
    Handle<git_config> config;
    Handle<git_config_entry> entry;
    if (git_repository_config(out(config), m_handle) < 0)
        return libgitError("The configuration cannot be read", path().string());
    if (git_config_get_entry(out(entry), config.get(), key.c_str()) < 0)
        return fallback;
    int value = 0;
    if (git_config_parse_bool(&value, entry->value) < 0)
        return fail(ErrorKind::Broken, "A setting is neither yes nor no",
                    key + " = " + (entry->value ? entry->value : ""),
                    "Set it to true or false; git config --show-origin " + key + " tells where it stands");
    return value != 0;
}

Result<void> Repository::setConfig(const std::string& key, const std::string& value) const
{
    return editConfig(*this, [&](git_config* config) -> Result<void> {
        if (git_config_set_string(config, key.c_str(), value.c_str()) < 0)
            return libgitError("The setting cannot be written", key,
                               "Check that the repository's config file is writable");
        return {};
    });
}

namespace {

// The file that does not hold the ref of a short name as it should: its own, of those in git's order (gitrevisions(7)).
fs::path refFileOf(const fs::path& commonDir, const std::string& name)
{
    std::error_code ignored;
    int valid = 0;
    if (git_reference_name_is_valid(&valid, ("refs/" + name).c_str()) == 0 && valid)
        for (const char* folder : {"", "refs", "refs/tags", "refs/heads", "refs/remotes"})
            if (fs::path file = commonDir / folder / name; fs::is_regular_file(file, ignored))
                if (const std::string line = firstLine(file); !Oid::parse(line) && !line.starts_with("ref: "))
                    return file;
    return commonDir / "packed-refs";
}

// Why git_revparse_single() failed with `code`: what is there and damaged is another matter than what is not there.
std::unexpected<Error> notResolved(git_repository* handle, const std::string& revision, int code)
{
    constexpr const char* look = "git fsck in the repository tells what is damaged";
    const git_error* const last = git_error_last();
    const int errorClass = last ? last->klass : int(GIT_ERROR_NONE);
    if (code != GIT_ENOTFOUND && code != GIT_EINVALIDSPEC && errorClass == GIT_ERROR_REFERENCE)
        return fail(ErrorKind::Broken, "A ref, or the list of the packed ones, is damaged",
                    refFileOf(git_repository_commondir(handle), revision).string(), look);
    Handle<git_reference> ref;
    // The library takes no name for HEAD.
    const int found = revision.empty() ? int(GIT_ENOTFOUND) : git_reference_dwim(out(ref), handle, revision.c_str());
    if (found == 0)
        return fail(ErrorKind::Broken, "What this name stands for is missing or damaged", revision, look);
    if (found != GIT_ENOTFOUND && found != GIT_EINVALIDSPEC)
        return libgitError("The refs cannot be read", revision, look);
    if (code != GIT_ENOTFOUND && (errorClass == GIT_ERROR_ODB || errorClass == GIT_ERROR_OBJECT))
        return fail(ErrorKind::Broken, "The object is missing or damaged", revision, look);
    return fail(ErrorKind::NotFound, "The repository has nothing by that name", revision,
                "Name a branch, a tag or a commit id");
}

} // namespace

Result<Oid> Repository::resolve(const std::string& revision) const
{
    Handle<git_object> named;
    const int code = git_revparse_single(out(named), m_handle, revision.c_str());
    if (code == GIT_EAMBIGUOUS)
        return fail(ErrorKind::NotFound, "More than one object begins like that", revision, "Name more of its digits");
    if (code < 0)
        return notResolved(m_handle, revision, code);
    Handle<git_object> commit;
    if (git_object_peel(out(commit), named.get(), GIT_OBJECT_COMMIT) < 0)
        return fail(ErrorKind::NotFound, "That name does not stand for a commit", revision,
                    "Name a branch, a tag or a commit id");
    return fromGit(*git_object_id(commit.get()));
}

namespace {

// What git keeps of a name or an address: no line ends, no angle brackets, no control characters, and none of the
// characters that mean nothing at either end (git's ident.c, common practice).
std::string withoutCrud(std::string_view text)
{
    const auto isCrud = [](unsigned char c) {
        return c <= 32 || c == ',' || c == ':' || c == ';' || c == '<' || c == '>' || c == '"' || c == '\\' ||
               c == '\'';
    };
    while (!text.empty() && isCrud(static_cast<unsigned char>(text.front())))
        text.remove_prefix(1);
    while (!text.empty() && isCrud(static_cast<unsigned char>(text.back())))
        text.remove_suffix(1);
    std::string kept;
    for (const char c : text)
        if (c != '\n' && c != '<' && c != '>' && c != '\0')
            kept += c;
    return kept;
}

std::string environment(const char* variable)
{
    const char* value = std::getenv(variable);
    return value ? value : "";
}

} // namespace

Result<Identity> committerIdentity(const Repository& repository)
{
    const auto firstOf = [&](std::initializer_list<std::string> candidates) {
        for (const std::string& candidate : candidates)
            if (std::string kept = withoutCrud(candidate); !kept.empty())
                return kept;
        return std::string();
    };
    const auto setting = [&](const char* key) { return repository.config(key).value_or(""); };
    Identity identity{firstOf({environment("GIT_COMMITTER_NAME"), setting("committer.name"), setting("user.name")}),
                      firstOf({environment("GIT_COMMITTER_EMAIL"), setting("committer.email"), setting("user.email"),
                               environment("EMAIL")})};
    if (identity.name.empty() || identity.email.empty())
        return fail(
            ErrorKind::Refused, "git does not know who you are, so new commits cannot be made",
            identity.name.empty() ? "user.name" : "user.email",
            "Set both: git config --global user.name \"Your Name\" and git config --global user.email you@example.org");
    return identity;
}

} // namespace espalier
