// SPDX-License-Identifier: MIT
#include "core/keep/worktree_files.h"

#include "core/git/objects.h"
#include "core/git/text.h"
#include "core/keep/apply_steps.h"

#include <git2/sys/repository.h>

#include <cerrno>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

Result<void> copyIndex(const fs::path& from, const fs::path& to)
{
    std::error_code error;
    fs::remove(to, error);
    if (!fs::exists(from, error))
        return {};
    fs::copy_file(from, to, error);
    // With the old time stamp, so that a file edited within the index's own moment is still looked at.
    if (!error)
        fs::last_write_time(to, fs::last_write_time(from, error), error);
    if (error)
        return storageError("The index cannot be copied", to, error.value());
    return {};
}

git_index_entry newEntry(const PathMove& move)
{
    git_index_entry entry{};
    entry.path = move.path.c_str();
    entry.mode = std::uint32_t(move.newMode);
    entry.id = toGit(move.newId);
    return entry;
}

void removeEmptyParents(const fs::path& root, const std::string& path)
{
    for (fs::path at = fs::path(path).parent_path(); !at.empty(); at = at.parent_path()) {
        if (::rmdir((root / at).c_str()) < 0)
            return;
    }
}

// Submodules are the index's and an empty folder's business; what is inside belongs to another repository.
Result<void> moveSubmodule(WorktreeSession& session, const PathMove& move, std::vector<std::string>& notices)
{
    const fs::path root = session.repository().workDir();
    const fs::path at = root / move.path;
    if (move.newMode == FileMode::Submodule) {
        if (move.oldMode != FileMode::None && move.oldMode != FileMode::Submodule)
            ::unlink(at.c_str());
        std::error_code error;
        fs::create_directories(at, error);
        const git_index_entry entry = newEntry(move);
        if (git_index_add(session.index(), &entry) < 0)
            return libgitError("The submodule cannot be put into the index", move.path);
        return {};
    }
    git_index_remove(session.index(), move.path.c_str(), 0);
    if (::rmdir(at.c_str()) == 0) {
        if (move.newMode == FileMode::None)
            removeEmptyParents(root, move.path);
    } else if (errno != ENOENT) {
        notices.push_back("The folder of the submodule " + displayText(move.path, 300) +
                          " was kept with what is in it");
    }
    return {};
}

struct CheckoutReport {
    std::vector<std::string> conflicts;
};

Result<void> checkOutPaths(WorktreeSession& session, const std::vector<const std::string*>& paths, const Oid& baseline,
                           const Oid& target, unsigned strategy)
{
    // No paths would mean all of them.
    if (paths.empty())
        return {};
    std::vector<char*> list;
    for (const std::string* path : paths)
        list.push_back(const_cast<char*>(path->c_str()));
    Handle<git_object> targetCommit, baselineTree;
    const git_oid targetId = toGit(target), baselineId = toGit(baseline);
    if (git_object_lookup(out(targetCommit), session.handle(), &targetId, GIT_OBJECT_COMMIT) < 0)
        return libgitError("The commit cannot be read", target.hex());
    if (!baseline.isZero()) {
        Handle<git_object> commit;
        if (git_object_lookup(out(commit), session.handle(), &baselineId, GIT_OBJECT_COMMIT) < 0 ||
            git_object_peel(out(baselineTree), commit.get(), GIT_OBJECT_TREE) < 0)
            return libgitError("The commit cannot be read", baseline.hex());
    }
    CheckoutReport report;
    git_checkout_options options = GIT_CHECKOUT_OPTIONS_INIT;
    options.checkout_strategy = strategy | GIT_CHECKOUT_DISABLE_PATHSPEC_MATCH | GIT_CHECKOUT_DONT_WRITE_INDEX |
                                GIT_CHECKOUT_DONT_OVERWRITE_IGNORED | GIT_CHECKOUT_NO_REFRESH;
    options.paths = {list.data(), list.size()};
    options.baseline = reinterpret_cast<git_tree*>(baselineTree.get());
    options.notify_flags = GIT_CHECKOUT_NOTIFY_CONFLICT;
    options.notify_payload = &report;
    options.notify_cb = [](git_checkout_notify_t, const char* path, const git_diff_file*, const git_diff_file*,
                           const git_diff_file*, void* payload) {
        static_cast<CheckoutReport*>(payload)->conflicts.push_back(path ? path : "");
        return 0;
    };
    options.progress_cb = [](const char* path, size_t, size_t, void*) {
        if (path)
            passApplyStep(ApplyStep::FileMoved);
    };
    const int code = git_checkout_tree(session.handle(), targetCommit.get(), &options);
    if (code < 0 && !report.conflicts.empty())
        return fail(ErrorKind::Refused, "A file was changed just now", displayText(report.conflicts.front(), 300),
                    "Commit the change, put it aside or undo it, then try again");
    if (code < 0)
        return libgitError("The worktree cannot be written", session.repository().workDir().string(),
                           "Check the free space and the permissions of the folder");
    return {};
}

// What is found where a move was to happen.
enum class Found { Nothing, Wanted, OtherSide, Torn, Foreign };

std::string readLink(const fs::path& path)
{
    std::error_code error;
    return fs::read_symlink(path, error).string();
}

// A file that was being written when the machine stopped holds the beginning of what was to be there.
bool isBeginningOf(git_repository* handle, const std::string& bytes, const PathMove& move, const Oid& id)
{
    const git_oid raw = toGit(id);
    Handle<git_blob> blob;
    if (id.isZero() || git_blob_lookup(out(blob), handle, &raw) < 0)
        return false;
    git_blob_filter_options options = GIT_BLOB_FILTER_OPTIONS_INIT;
    Buffer filtered;
    return git_blob_filter(&filtered, blob.get(), move.path.c_str(), &options) == 0 && bytes.size() < filtered.size &&
           std::string_view(filtered.ptr, filtered.size).starts_with(bytes);
}

Found lookAt(git_repository* handle, const fs::path& root, const PathMove& move)
{
    const FileMode wantedMode = move.newMode, otherMode = move.oldMode;
    const Oid &wanted = move.newId, &other = move.oldId;
    const fs::path at = root / move.path;
    struct stat status{};
    if (::lstat(at.c_str(), &status) < 0)
        return Found::Nothing;
    if (S_ISLNK(status.st_mode)) {
        const Oid id = hashObject(ObjectType::Blob, readLink(at));
        if (wantedMode == FileMode::Symlink && id == wanted)
            return Found::Wanted;
        return otherMode == FileMode::Symlink && id == other ? Found::OtherSide : Found::Foreign;
    }
    if (!S_ISREG(status.st_mode))
        return Found::Foreign;
    git_oid raw;
    if (git_repository_hashfile(&raw, handle, at.c_str(), GIT_OBJECT_BLOB, move.path.c_str()) < 0)
        return Found::Foreign;
    const Oid id = fromGit(raw);
    const auto isFile = [](FileMode mode) { return mode == FileMode::File || mode == FileMode::Executable; };
    const bool executable = status.st_mode & 0100;
    if (isFile(wantedMode) && id == wanted && executable == (wantedMode == FileMode::Executable))
        return Found::Wanted;
    if ((isFile(otherMode) && id == other) || (isFile(wantedMode) && id == wanted))
        return Found::OtherSide;
    auto bytes = readFileBounded(at, std::size_t(1) << 31);
    if (bytes && (isBeginningOf(handle, *bytes, move, wanted) || isBeginningOf(handle, *bytes, move, other)))
        return Found::Torn;
    return Found::Foreign;
}

bool indexIsOurs(git_index* index, const PathMove& move)
{
    const git_index_entry* entry = git_index_get_bypath(index, move.path.c_str(), 0);
    if (!entry)
        return move.oldMode == FileMode::None || move.newMode == FileMode::None;
    const Oid id = fromGit(entry->id);
    return (move.oldMode != FileMode::None && id == move.oldId) || (move.newMode != FileMode::None && id == move.newId);
}

} // namespace

fs::path WorktreeSession::workingCopy(const fs::path& gitDir) { return gitDir / "index.espalier"; }

Result<WorktreeSession> WorktreeSession::begin(const fs::path& path)
{
    auto opened = Repository::open(path);
    if (!opened)
        return std::unexpected(opened.error());
    WorktreeSession session(std::move(*opened));
    const fs::path gitDir = session.m_repository.gitDir(), lock = gitDir / "index.lock";
    const int file = ::open(lock.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (file < 0 && errno == EEXIST)
        return fail(ErrorKind::Refused, "Another program is using the index", lock.string(),
                    "Wait until it is done; if no git program is running, remove that file");
    if (file < 0)
        return storageError("The index cannot be locked", lock, errno);
    ::close(file);
    session.m_lock = FileMark::of(lock);
    const fs::path copy = workingCopy(gitDir);
    if (auto copied = copyIndex(gitDir / "index", copy); !copied)
        return std::unexpected(copied.error());
    if (git_index_open(out(session.m_index), copy.c_str()) < 0)
        return libgitError("The index cannot be read", (gitDir / "index").string(),
                           "git update-index --no-split-index and git status tell more");
    if (git_repository_set_index(session.handle(), session.index()) < 0 ||
        git_index_set_caps(session.index(), GIT_INDEX_CAPABILITY_FROM_OWNER) < 0)
        return libgitError("The index cannot be read", (gitDir / "index").string());
    return session;
}

WorktreeSession::~WorktreeSession()
{
    if (!m_lock)
        return;
    ::unlink(workingCopy(m_lock->path.parent_path()).c_str());
    removeIfSame(*m_lock);
}

Result<void> WorktreeSession::publish()
{
    const fs::path gitDir = m_lock->path.parent_path();
    if (git_index_write(index()) < 0)
        return libgitError("The index cannot be written", gitDir.string(), "Check the free space and the permissions");
    if (::rename(workingCopy(gitDir).c_str(), (gitDir / "index").c_str()) < 0)
        return storageError("The index cannot be put in place", gitDir / "index", errno);
    auto synced = syncFolder(gitDir);
    removeIfSame(*m_lock);
    m_lock.reset();
    return synced;
}

Result<void> moveFiles(WorktreeSession& session, const std::vector<PathMove>& moves, const Oid& from, const Oid& to,
                       std::vector<std::string>& notices)
{
    std::vector<const std::string*> files;
    for (const PathMove& move : moves) {
        if (move.touchesSubmodule()) {
            if (auto moved = moveSubmodule(session, move, notices); !moved)
                return moved;
        }
        if (move.newMode != FileMode::Submodule && (!move.touchesSubmodule() || move.newMode != FileMode::None))
            files.push_back(&move.path);
    }
    return checkOutPaths(session, files, from, to, GIT_CHECKOUT_SAFE);
}

Result<void> finishFiles(WorktreeSession& session, const std::vector<PathMove>& moves, const Oid& from, const Oid& to,
                         bool forwards, std::vector<std::string>& notices)
{
    const fs::path root = session.repository().workDir();
    std::vector<PathMove> towards = moves;
    if (!forwards) {
        for (PathMove& move : towards) {
            std::swap(move.oldMode, move.newMode);
            std::swap(move.oldId, move.newId);
        }
    }
    const auto leave = [&](const PathMove& move, std::string_view why) {
        notices.push_back(displayText(move.path, 300) + " was left as it is: " + std::string(why));
    };
    std::erase_if(towards, [&](const PathMove& move) {
        const bool strange = !indexIsOurs(session.index(), move);
        if (strange)
            leave(move, "something else was staged since");
        return strange;
    });
    // What goes, goes first: whatever is then still in the way is not ours.
    for (const PathMove& move : towards) {
        if (move.touchesSubmodule()) {
            if (auto moved = moveSubmodule(session, move, notices); !moved)
                return moved;
        } else if (move.newMode == FileMode::None) {
            git_index_remove(session.index(), move.path.c_str(), 0);
            const Found found = lookAt(session.handle(), root, move);
            if (found == Found::OtherSide || found == Found::Torn) {
                ::unlink((root / move.path).c_str());
                removeEmptyParents(root, move.path);
            } else if (found == Found::Foreign) {
                leave(move, "it was changed since");
            }
        }
    }
    std::vector<const std::string*> write;
    for (const PathMove& move : towards) {
        if (move.newMode == FileMode::None || move.newMode == FileMode::Submodule)
            continue;
        const git_index_entry entry = newEntry(move);
        if (git_index_add(session.index(), &entry) < 0)
            return libgitError("The index cannot be changed", move.path);
        const Found found = lookAt(session.handle(), root, move);
        if (found == Found::Foreign ||
            (found == Found::Nothing && !obstructionAt(session.handle(), {}, move.path).empty()))
            leave(move, "it was changed since");
        else if (found != Found::Wanted)
            write.push_back(&move.path);
    }
    return checkOutPaths(session, write, forwards ? from : to, forwards ? to : from, GIT_CHECKOUT_FORCE);
}

} // namespace espalier
