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
enum class Found : std::uint8_t { Nothing, Wanted, OtherSide, Foreign };

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

    // `at`: where the file is; the path itself, or where it was put aside.
    Result<Found> lookAt(const PathChange& move, const std::string& at)
    {
        const auto status = m_folder.look(at);
        if (!status)
            return std::unexpected(status.error());
        m_written = at == move.path ? *status : std::nullopt;
        if (!*status)
            return Found::Nothing;
        if (S_ISLNK((*status)->st_mode)) {
            const auto target = m_folder.readLink(at);
            return target ? lookAtLink(move, *target) : Found::Foreign;
        }
        if (!S_ISREG((*status)->st_mode))
            return Found::Foreign;
        const auto bytes = m_folder.readFile(at, largestFile);
        if (!bytes)
            return Found::Foreign;
        if (!m_hasSymlinks && !isRegularFile(move.after.mode) && !isRegularFile(move.before.mode))
            return lookAtLink(move, *bytes);
        return lookAtFile(move, *bytes, (*status)->st_mode & 0100);
    }
    Result<Found> lookAt(const PathChange& move) { return lookAt(move, move.path); }

    static std::unexpected<Error> changedJustNow(const std::string& path)
    {
        return fail(ErrorKind::Refused, "A file was changed just now", displayText(path, 300),
                    "Commit the change, put it aside or undo it, then try again");
    }

    // Puts the old side aside, as checkPaths() found it. Refused, and put back, when something else stood there.
    Result<void> putAside(const PathChange& move)
    {
        const auto status = m_folder.look(move.path);
        if (!status)
            return std::unexpected(status.error());
        const git_index_entry* entry = git_index_get_bypath(m_session.index(), move.path.c_str(), 0);
        // Not in the worktree on purpose (sparse), or not looked at there: nothing is to be put aside.
        if (!*status && entry && isUnwatched(*entry))
            return {};
        const bool asIndexed = *status && entry && m_session.isAsIndexed(*entry, **status);
        if (auto aside = m_folder.putAside(move.path); !aside)
            return aside;
        const std::string at = WorktreeFolder::asideOf(move.path);
        const auto now = m_folder.look(at);
        if (!now)
            return std::unexpected(now.error());
        // What was saved in between is another file, or has another time.
        if (asIndexed && *now && isSame(**status, **now))
            return {};
        const auto found = lookAt(move, at);
        if (!found)
            return std::unexpected(found.error());
        if (*found == Found::OtherSide || *found == Found::Wanted)
            return {};
        if (auto back = m_folder.putBack(move.path); !back)
            return std::unexpected(back.error());
        return changedJustNow(move.path);
    }
    // What was put aside goes for good.
    Result<void> drop(const PathChange& move)
    {
        if (auto removed = m_folder.remove(WorktreeFolder::asideOf(move.path)); !removed)
            return removed;
        takenAway(move);
        return {};
    }
    // After a crash: what was put aside comes back, or goes when it is one of the two sides and something stands there again.
    Result<void> tidy(const PathChange& move, std::vector<std::string>& notices)
    {
        if (auto removed = m_folder.removeUnfinished(move.path); !removed)
            return removed;
        const auto back = m_folder.putBack(move.path);
        if (!back)
            return std::unexpected(back.error());
        if (*back)
            return {};
        const std::string at = WorktreeFolder::asideOf(move.path);
        const auto found = lookAt(move, at);
        if (!found)
            return std::unexpected(found.error());
        if (*found == Found::OtherSide || *found == Found::Wanted)
            return m_folder.remove(at);
        notices.push_back(displayText(move.path, 300) + " was changed twice meanwhile; the earlier change is in " +
                          displayText(at, 300));
        return {};
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
        if (move.after.mode == FileMode::Submodule)
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
        const auto bytes = contentsOf(move.path, move.after.mode, move.after.id);
        if (!bytes)
            return std::unexpected(bytes.error());
        m_written.reset();
        if (move.after.mode == FileMode::Symlink && m_hasSymlinks) {
            if (auto written = m_folder.writeLink(move.path, *bytes); !written)
                return written;
        } else {
            auto written = m_folder.writeFile(move.path, *bytes, move.after.mode == FileMode::Executable);
            if (!written)
                return std::unexpected(written.error());
            m_written = *written;
        }
        passApplyStep(ApplyStep::FileMoved);
        return {};
    }

    // The new side in the index; `seen`: with what lstat says, so that git need not read the file again.
    Result<void> record(const PathChange& move, bool seen)
    {
        git_index_entry entry{};
        entry.path = move.path.c_str();
        entry.mode = std::uint32_t(move.after.mode);
        entry.id = toGit(move.after.id);
        if (const auto marks = m_marks.find(move.path); marks != m_marks.end()) {
            entry.flags = marks->second.first;
            entry.flags_extended = marks->second.second;
        }
        const auto status = seen && move.after.mode != FileMode::Submodule ? m_folder.look(move.path)
                                                                           : Result<std::optional<struct stat>>();
        // Somebody may have saved another file there since it was written: then git has to read it.
        const auto known = std::exchange(m_written, std::nullopt);
        const bool untouched = status && *status &&
                               (known ? isSame(*known, **status)
                                      : !seen || S_ISLNK((*status)->st_mode) == (move.after.mode == FileMode::Symlink));
        if (untouched) {
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
    static bool isSame(const struct stat& a, const struct stat& b)
    {
        return a.st_ino == b.st_ino && a.st_dev == b.st_dev && a.st_size == b.st_size && a.st_mode == b.st_mode &&
               a.st_mtim.tv_sec == b.st_mtim.tv_sec && a.st_mtim.tv_nsec == b.st_mtim.tv_nsec;
    }

    void takenAway(const PathChange& move)
    {
        if (!move.after.exists())
            m_folder.removeEmptyParents(move.path);
        passApplyStep(ApplyStep::FileMoved);
    }

    static Found lookAtLink(const PathChange& move, std::string_view target)
    {
        const Oid id = hashObject(ObjectType::Blob, target);
        if (move.after.mode == FileMode::Symlink && id == move.after.id)
            return Found::Wanted;
        return move.before.mode == FileMode::Symlink && id == move.before.id ? Found::OtherSide : Found::Foreign;
    }

    Found lookAtFile(const PathChange& move, std::string_view bytes, bool executable) const
    {
        const Oid id = idOf(move.path, bytes);
        if (isRegularFile(move.after.mode) && id == move.after.id &&
            executable == (move.after.mode == FileMode::Executable))
            return Found::Wanted;
        if ((isRegularFile(move.before.mode) && id == move.before.id) ||
            (isRegularFile(move.after.mode) && id == move.after.id))
            return Found::OtherSide;
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
    std::optional<struct stat> m_written; // what write() has just made, or lookAt() has read
};

// Whether the old side must go before the new one can be written: all but a file that another replaces.
bool goesFirst(const PathChange& move)
{
    const bool stays = (isRegularFile(move.before.mode) && isRegularFile(move.after.mode)) ||
                       (move.before.mode == FileMode::Submodule && move.after.mode == FileMode::Submodule);
    return move.before.exists() && !stays;
}

// In the order in which they are written: attributes first, since they say how the others are.
template <typename Write> Result<void> writeEach(Mover& mover, const std::vector<PathChange>& moves, const Write& write)
{
    for (const bool attributes : {true, false}) {
        mover.readAttributesAgain();
        for (const PathChange& move : moves)
            if (move.after.exists() && isAttributes(move) == attributes)
                if (auto written = write(move); !written)
                    return written;
    }
    return {};
}

Result<void> takeAway(Mover& mover, const PathChange& move, std::vector<std::string>& notices)
{
    if (move.before.mode != FileMode::Submodule) {
        auto aside = mover.putAside(move);
        return aside ? mover.drop(move) : aside;
    }
    const auto gone = mover.removeSubmodule(move);
    if (!gone)
        return std::unexpected(gone.error());
    if (!*gone && move.after.exists())
        return Mover::changedJustNow(move.path);
    if (!*gone)
        notices.push_back("The folder of the submodule " + displayText(move.path, 300) +
                          " was kept with what is in it");
    return {};
}

// The same after a crash: what is not ours stays, and is spoken of.
Result<void> takeAwayIfOurs(Mover& mover, const PathChange& move, std::vector<std::string>& notices)
{
    if (move.before.mode == FileMode::Submodule) {
        const auto gone = mover.removeSubmodule(move);
        if (gone && !*gone && !move.after.exists())
            notices.push_back("The folder of the submodule " + displayText(move.path, 300) +
                              " was kept with what is in it");
        return gone ? Result<void>() : std::unexpected(gone.error());
    }
    const auto found = mover.lookAt(move);
    if (!found)
        return std::unexpected(found.error());
    // Folders may have been made for a file that never came.
    const bool nothingLeft = *found == Found::Nothing && !move.after.exists();
    if (*found == Found::OtherSide)
        return takeAway(mover, move, notices);
    if (nothingLeft)
        return mover.remove(move);
    if (*found == Found::Foreign && !move.after.exists())
        notices.push_back(displayText(move.path, 300) + " was left as it is: it was changed since");
    return {};
}

Result<void> writeIfOurs(Mover& mover, const PathChange& move, std::vector<std::string>& notices)
{
    const auto found = move.after.mode == FileMode::Submodule ? Result<Found>(Found::Nothing) : mover.lookAt(move);
    if (!found)
        return std::unexpected(found.error());
    bool ours = *found != Found::Foreign;
    if (*found == Found::OtherSide)
        if (auto gone = mover.putAside(move).and_then([&] { return mover.drop(move); }); !gone)
            return gone;
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
        return !move.before.exists() || !move.after.exists();
    const Oid id = fromGit(entry->id);
    return (move.before.exists() && id == move.before.id) || (move.after.exists() && id == move.after.id);
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
        const bool replaces = isRegularFile(move.before.mode) && isRegularFile(move.after.mode);
        if (replaces)
            if (auto aside = mover.putAside(move); !aside)
                return aside;
        auto written = mover.write(move).and_then([&] { return mover.record(move, true); });
        return written && replaces ? mover.drop(move) : written;
    });
}

Result<void> finishFiles(WorktreeSession& session, const std::vector<PathChange>& moves, bool forwards,
                         std::vector<std::string>& notices)
{
    std::vector<PathChange> towards = moves;
    if (!forwards) {
        for (PathChange& move : towards) {
            std::swap(move.before, move.after);
        }
    }
    Mover mover(session, towards, !forwards);
    for (const PathChange& move : towards)
        if (auto tidied = mover.tidy(move, notices); !tidied)
            return tidied;
    std::erase_if(towards, [&](const PathChange& move) {
        const bool strange = !indexIsOurs(session.index(), move);
        if (strange)
            notices.push_back(displayText(move.path, 300) + " was left as it is: something else was staged since");
        return strange;
    });
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
