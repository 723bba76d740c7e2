// SPDX-License-Identifier: MIT
#include "core/keep/worktree_files.h"

#include "core/git/objects.h"
#include "core/git/text.h"
#include "core/keep/apply_steps.h"

#include <git2/sys/repository.h>

#include <algorithm>
#include <ranges>

#include <sys/stat.h>

namespace espalier {

namespace {

constexpr std::size_t largestFile = std::size_t(1) << 31;

bool isAttributes(const PathChange& move)
{
    return move.path == ".gitattributes" || move.path.ends_with("/.gitattributes");
}

// What is found where a move was to happen.
enum class Found : std::uint8_t { Nothing, Wanted, OtherSide, Torn, Foreign };

class Mover {
  public:
    // `asBefore`: files go back to where they were, and so do the marks of assume-unchanged; git drops those of a file that it
    // writes, and keeps skip-worktree (unpack-trees.c, merged_entry).
    Mover(WorktreeSession& session, const std::vector<PathChange>& moves, bool asBefore)
        : m_session(session)
        , m_folder(session.folder())
        , m_hasSymlinks(session.repository().configBool("core.symlinks", true))
    {
        for (const PathChange& move : moves)
            if (const git_index_entry* entry = git_index_get_bypath(session.index(), move.path.c_str(), 0);
                entry && isUnwatched(*entry))
                m_marks[move.path] = {std::uint16_t(asBefore ? entry->flags & GIT_INDEX_ENTRY_VALID : 0),
                                      std::uint16_t(entry->flags_extended & GIT_INDEX_ENTRY_SKIP_WORKTREE)};
    }

    Result<Found> lookAt(const PathChange& move) const
    {
        const auto status = m_folder.look(move.path);
        if (!status)
            return std::unexpected(status.error());
        if (!*status)
            return Found::Nothing;
        if (S_ISLNK((*status)->st_mode)) {
            const auto target = m_folder.readLink(move.path);
            return target ? lookAtLink(move, *target) : Found::Foreign;
        }
        if (!S_ISREG((*status)->st_mode))
            return Found::Foreign;
        const auto bytes = m_folder.readFile(move.path, largestFile);
        if (!bytes)
            return Found::Foreign;
        if (!m_hasSymlinks && !isRegularFile(move.newMode) && !isRegularFile(move.oldMode))
            return lookAtLink(move, *bytes);
        return lookAtFile(move, *bytes, (*status)->st_mode & 0100);
    }

    // Refused unless the old side stands there, as checkPaths() found it.
    Result<void> checkUnchanged(const PathChange& move) const
    {
        const auto status = m_folder.look(move.path);
        if (!status)
            return std::unexpected(status.error());
        const git_index_entry* entry = git_index_get_bypath(m_session.index(), move.path.c_str(), 0);
        if (*status && entry && m_session.isAsIndexed(*entry, **status))
            return {};
        const auto found = lookAt(move);
        if (!found)
            return std::unexpected(found.error());
        const bool mayBeMissing = *found == Found::Nothing && entry && isUnwatched(*entry);
        if (*found == Found::OtherSide || *found == Found::Wanted || mayBeMissing)
            return {};
        return changedJustNow(move.path);
    }

    static std::unexpected<Error> changedJustNow(const std::string& path)
    {
        return fail(ErrorKind::Refused, "A file was changed just now", displayText(path, 300),
                    "Commit the change, put it aside or undo it, then try again");
    }

    Result<void> remove(const PathChange& move)
    {
        if (auto removed = m_folder.remove(move.path); !removed)
            return removed;
        takenAway(move);
        return {};
    }
    // False: something is in it that is another repository's business.
    Result<bool> removeSubmodule(const PathChange& move)
    {
        auto gone = m_folder.removeEmptyFolder(move.path);
        if (gone && *gone)
            takenAway(move);
        return gone;
    }
    void forget(const PathChange& move) { git_index_remove(m_session.index(), move.path.c_str(), 0); }

    // The new side, where nothing but an empty folder stands.
    Result<void> write(const PathChange& move)
    {
        if (move.newMode == FileMode::Submodule)
            return m_folder.makeFolder(move.path);
        const auto there = m_folder.look(move.path);
        if (!there)
            return std::unexpected(there.error());
        if (*there && S_ISDIR((*there)->st_mode))
            if (auto gone = m_folder.removeEmptyFolder(move.path); !gone)
                return std::unexpected(gone.error());
        // Attributes hold for their own file too; where there is none libgit2 asks the index.
        if (isAttributes(move)) {
            if (auto recorded = record(move, false); !recorded)
                return recorded;
            readAttributesAgain();
        }
        const auto bytes = contentsOf(move.path, move.newMode, move.newId);
        if (!bytes)
            return std::unexpected(bytes.error());
        const auto written = move.newMode == FileMode::Symlink && m_hasSymlinks
                                 ? m_folder.writeLink(move.path, *bytes)
                                 : m_folder.writeFile(move.path, *bytes, move.newMode == FileMode::Executable);
        if (written)
            passApplyStep(ApplyStep::FileMoved);
        return written;
    }

    // The new side in the index; `seen`: with what lstat says, so that git need not read the file again.
    Result<void> record(const PathChange& move, bool seen)
    {
        git_index_entry entry{};
        entry.path = move.path.c_str();
        entry.mode = std::uint32_t(move.newMode);
        entry.id = toGit(move.newId);
        if (const auto marks = m_marks.find(move.path); marks != m_marks.end()) {
            entry.flags = marks->second.first;
            entry.flags_extended = marks->second.second;
        }
        const auto status = seen && move.newMode != FileMode::Submodule ? m_folder.look(move.path)
                                                                        : Result<std::optional<struct stat>>();
        if (status && *status) {
            const struct stat& at = **status;
            entry.ctime = {std::int32_t(at.st_ctim.tv_sec), std::uint32_t(at.st_ctim.tv_nsec)};
            entry.mtime = {std::int32_t(at.st_mtim.tv_sec), std::uint32_t(at.st_mtim.tv_nsec)};
            entry.dev = std::uint32_t(at.st_dev);
            entry.ino = std::uint32_t(at.st_ino);
            entry.uid = at.st_uid;
            entry.gid = at.st_gid;
            entry.file_size = std::uint32_t(at.st_size);
        }
        if (git_index_add(m_session.index(), &entry) < 0)
            return libgitError("The index cannot be changed", move.path);
        return {};
    }

    // libgit2 reads the attributes of the worktree; those that have moved count for what is written from now on.
    void readAttributesAgain() { git_attr_cache_flush(m_session.handle()); }

  private:
    void takenAway(const PathChange& move)
    {
        if (move.newMode == FileMode::None)
            m_folder.removeEmptyParents(move.path);
        passApplyStep(ApplyStep::FileMoved);
    }

    static Found lookAtLink(const PathChange& move, std::string_view target)
    {
        const Oid id = hashObject(ObjectType::Blob, target);
        if (move.newMode == FileMode::Symlink && id == move.newId)
            return Found::Wanted;
        return move.oldMode == FileMode::Symlink && id == move.oldId ? Found::OtherSide : Found::Foreign;
    }

    Found lookAtFile(const PathChange& move, std::string_view bytes, bool executable) const
    {
        const Oid id = idOf(move.path, bytes);
        if (isRegularFile(move.newMode) && id == move.newId && executable == (move.newMode == FileMode::Executable))
            return Found::Wanted;
        if ((isRegularFile(move.oldMode) && id == move.oldId) || (isRegularFile(move.newMode) && id == move.newId))
            return Found::OtherSide;
        // A file that was being written when the machine stopped holds the beginning of what was to be there.
        for (const auto& [mode, side] : {std::pair(move.newMode, move.newId), std::pair(move.oldMode, move.oldId)}) {
            const auto whole = isRegularFile(mode) ? contentsOf(move.path, mode, side) : Result<std::string>();
            if (whole && bytes.size() < whole->size() && whole->starts_with(bytes))
                return Found::Torn;
        }
        return Found::Foreign;
    }

    // The id that a file's bytes have in the repository, after git's filters; zero when a filter fails.
    Oid idOf(const std::string& path, std::string_view bytes) const
    {
        git_filter_list* list = nullptr;
        if (git_filter_list_load(&list, m_session.handle(), nullptr, path.c_str(), GIT_FILTER_TO_ODB,
                                 GIT_FILTER_DEFAULT) < 0)
            return {};
        const std::unique_ptr<git_filter_list, decltype(&git_filter_list_free)> filters(list, git_filter_list_free);
        if (!filters)
            return hashObject(ObjectType::Blob, bytes);
        Buffer filtered;
        if (git_filter_list_apply_to_buffer(&filtered, filters.get(), bytes.data(), bytes.size()) < 0)
            return {};
        return hashObject(ObjectType::Blob, {filtered.ptr, filtered.size});
    }

    // What a blob's file holds: its bytes after the filters of the path, or where a symlink leads.
    Result<std::string> contentsOf(const std::string& path, FileMode mode, const Oid& id) const
    {
        const git_oid raw = toGit(id);
        Handle<git_blob> blob;
        if (git_blob_lookup(out(blob), m_session.handle(), &raw) < 0)
            return libgitError("A file's contents cannot be read", displayText(path, 300), "git fsck tells more");
        if (mode == FileMode::Symlink)
            return std::string(static_cast<const char*>(git_blob_rawcontent(blob.get())),
                               std::size_t(git_blob_rawsize(blob.get())));
        git_blob_filter_options options = GIT_BLOB_FILTER_OPTIONS_INIT;
        options.flags = 0; // a configured filter gets binary files too
        Buffer filtered;
        if (git_blob_filter(&filtered, blob.get(), path.c_str(), &options) < 0)
            return libgitError("A file's contents cannot be made", displayText(path, 300),
                               "Check what its attributes and your filters say");
        return filtered.str();
    }

    WorktreeSession& m_session;
    const WorktreeFolder& m_folder;
    const bool m_hasSymlinks;
    std::map<std::string, std::pair<std::uint16_t, std::uint16_t>> m_marks; // by path, of the index before
};

// Whether the old side must go before the new one can be written: all but a file that another replaces.
bool goesFirst(const PathChange& move)
{
    const bool stays = (isRegularFile(move.oldMode) && isRegularFile(move.newMode)) ||
                       (move.oldMode == FileMode::Submodule && move.newMode == FileMode::Submodule);
    return move.oldMode != FileMode::None && !stays;
}

// In the order in which they are written: attributes first, since they say how the others are.
template <typename Write> Result<void> writeEach(Mover& mover, const std::vector<PathChange>& moves, const Write& write)
{
    for (const bool attributes : {true, false}) {
        mover.readAttributesAgain();
        for (const PathChange& move : moves)
            if (move.newMode != FileMode::None && isAttributes(move) == attributes)
                if (auto written = write(move); !written)
                    return written;
    }
    return {};
}

Result<void> takeAway(Mover& mover, const PathChange& move, std::vector<std::string>& notices)
{
    if (move.oldMode != FileMode::Submodule) {
        auto unchanged = mover.checkUnchanged(move);
        return unchanged ? mover.remove(move) : unchanged;
    }
    const auto gone = mover.removeSubmodule(move);
    if (!gone)
        return std::unexpected(gone.error());
    if (!*gone && move.newMode != FileMode::None)
        return Mover::changedJustNow(move.path);
    if (!*gone)
        notices.push_back("The folder of the submodule " + displayText(move.path, 300) +
                          " was kept with what is in it");
    return {};
}

// The same after a crash: what is not ours stays, and is spoken of.
Result<void> takeAwayIfOurs(Mover& mover, const PathChange& move, std::vector<std::string>& notices)
{
    if (move.oldMode == FileMode::Submodule) {
        const auto gone = mover.removeSubmodule(move);
        if (gone && !*gone && move.newMode == FileMode::None)
            notices.push_back("The folder of the submodule " + displayText(move.path, 300) +
                              " was kept with what is in it");
        return gone ? Result<void>() : std::unexpected(gone.error());
    }
    const auto found = mover.lookAt(move);
    if (!found)
        return std::unexpected(found.error());
    // Folders may have been made for a file that never came.
    const bool nothingLeft = *found == Found::Nothing && move.newMode == FileMode::None;
    if (*found == Found::OtherSide || *found == Found::Torn || nothingLeft)
        return mover.remove(move);
    if (*found == Found::Foreign && move.newMode == FileMode::None)
        notices.push_back(displayText(move.path, 300) + " was left as it is: it was changed since");
    return {};
}

Result<void> writeIfOurs(Mover& mover, const PathChange& move, std::vector<std::string>& notices)
{
    const auto found = move.newMode == FileMode::Submodule ? Result<Found>(Found::Nothing) : mover.lookAt(move);
    if (!found)
        return std::unexpected(found.error());
    bool ours = *found != Found::Foreign;
    if (*found == Found::OtherSide || *found == Found::Torn)
        if (auto removed = mover.remove(move); !removed)
            return removed;
    if (*found != Found::Wanted) {
        const auto written = mover.write(move);
        if (!written && written.error().kind != ErrorKind::Refused)
            return written;
        ours = written.has_value();
    }
    if (!ours)
        notices.push_back(displayText(move.path, 300) + " was left as it is: it was changed since");
    return mover.record(move, ours);
}

bool indexIsOurs(git_index* index, const PathChange& move)
{
    const git_index_entry* entry = git_index_get_bypath(index, move.path.c_str(), 0);
    if (!entry)
        return move.oldMode == FileMode::None || move.newMode == FileMode::None;
    const Oid id = fromGit(entry->id);
    return (move.oldMode != FileMode::None && id == move.oldId) || (move.newMode != FileMode::None && id == move.newId);
}

} // namespace

Result<void> moveFiles(WorktreeSession& session, const std::vector<PathChange>& moves,
                       std::vector<std::string>& notices)
{
    Mover mover(session, moves, false);
    for (const PathChange& move : moves | std::views::reverse) {
        if (!goesFirst(move))
            continue;
        if (auto gone = takeAway(mover, move, notices); !gone)
            return gone;
        mover.forget(move);
    }
    return writeEach(mover, moves, [&](const PathChange& move) -> Result<void> {
        if (isRegularFile(move.oldMode) && isRegularFile(move.newMode)) {
            if (auto unchanged = mover.checkUnchanged(move); !unchanged)
                return unchanged;
            if (auto removed = mover.remove(move); !removed)
                return removed;
        }
        auto written = mover.write(move);
        return written ? mover.record(move, true) : written;
    });
}

Result<void> finishFiles(WorktreeSession& session, const std::vector<PathChange>& moves, bool forwards,
                         std::vector<std::string>& notices)
{
    std::vector<PathChange> towards = moves;
    if (!forwards) {
        for (PathChange& move : towards) {
            std::swap(move.oldMode, move.newMode);
            std::swap(move.oldId, move.newId);
        }
    }
    std::erase_if(towards, [&](const PathChange& move) {
        const bool strange = !indexIsOurs(session.index(), move);
        if (strange)
            notices.push_back(displayText(move.path, 300) + " was left as it is: something else was staged since");
        return strange;
    });
    Mover mover(session, towards, !forwards);
    for (const PathChange& move : towards | std::views::reverse) {
        if (!goesFirst(move))
            continue;
        if (auto gone = takeAwayIfOurs(mover, move, notices); !gone)
            return gone;
        mover.forget(move);
    }
    return writeEach(mover, towards, [&](const PathChange& move) { return writeIfOurs(mover, move, notices); });
}

} // namespace espalier
