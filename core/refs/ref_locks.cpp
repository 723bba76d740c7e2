// SPDX-License-Identifier: MIT
#include "core/refs/ref_locks.h"

#include "core/git/files.h"
#include "core/refs/ref_files.h"
#include "core/refs/ref_name.h"

#include <cerrno>

#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

std::set<std::string> refNames(git_repository* handle)
{
    std::set<std::string> names;
    Handle<git_reference_iterator> iterator;
    if (git_reference_iterator_new(out(iterator), handle) < 0)
        return names;
    const char* name = nullptr;
    while (git_reference_next_name(&name, iterator.get()) == 0)
        names.emplace(name);
    return names;
}

fs::path lockPath(git_repository* handle, const std::string& ref) { return refFile(handle, ref).string() + ".lock"; }

fs::path commonDirOf(git_repository* handle) { return git_repository_commondir(handle); }

bool deletes(const RefMove& move) { return move.now.isZero(); }

std::set<std::string> deletedOf(const std::vector<RefMove>& moves)
{
    std::set<std::string> names;
    for (const RefMove& move : moves)
        if (deletes(move))
            names.insert(move.name);
    return names;
}

// What HEAD's file says.
std::string headText(const std::string& newHead) { return (Oid::parse(newHead) ? newHead : "ref: " + newHead) + '\n'; }

} // namespace

Result<void> checkMoves(git_repository* handle, const std::vector<RefMove>& moves)
{
    bool creates = false;
    for (const RefMove& move : moves) {
        auto now = readRef(handle, move.name);
        if (!now)
            return std::unexpected(now.error());
        if (*now != move.old && move.old.isZero())
            return fail(ErrorKind::Refused, "There is a branch of that name already", shownRef(move.name),
                        "Choose another name");
        if (*now != move.old && now->isZero())
            return fail(ErrorKind::Refused, "The branch is gone", shownRef(move.name),
                        "Look again at what is there now");
        if (*now != move.old)
            return fail(ErrorKind::Refused, "The branch moved in the meantime, to " + now->brief(), shownRef(move.name),
                        "Look again at what is there now, and repeat the step");
        creates = creates || move.old.isZero();
    }
    if (!creates)
        return {};
    std::set<std::string> names = refNames(handle);
    for (const RefMove& move : moves) {
        if (move.now.isZero())
            names.erase(move.name);
    }
    for (const RefMove& move : moves) {
        if (!move.old.isZero())
            continue;
        if (const std::string other = inTheWay(names, move.name); !other.empty())
            return fail(ErrorKind::Refused,
                        "A branch cannot stand beside " + shownRef(other) +
                            ", whose name is the beginning of the other",
                        shownRef(move.name), "Choose another name");
    }
    return {};
}

Result<RefLocks> RefLocks::take(git_repository* handle, const std::vector<RefMove>& moves,
                                const std::optional<HeadMove>& headMove)
{
    auto files = LockFiles::begin(commonDirOf(handle));
    if (!files)
        return std::unexpected(files.error());
    RefLocks locks(std::move(*files));
    locks.m_handle = handle;
    Phase first, update, head, last;
    head.head = headMove.has_value();
    std::set<std::string> coming;
    for (const RefMove& move : moves)
        if (!deletes(move))
            coming.insert(move.name);
    for (const RefMove& move : moves) {
        const bool makesRoom = deletes(move) && !inTheWay(coming, move.name).empty();
        (makesRoom ? first : deletes(move) ? last : update).moves.push_back(move);
    }
    update.late = !first.moves.empty();
    for (Phase* phase : {&first, &update, &head, &last})
        if (!phase->moves.empty() || phase->head)
            locks.m_phases.push_back(std::move(*phase));
    if (auto announced = locks.announce(headMove); !announced)
        return std::unexpected(announced.error());
    for (const Phase& phase : locks.m_phases)
        if (auto locked = phase.late ? Result<void>() : locks.lock(phase); !locked)
            return std::unexpected(locked.error());
    if (auto locked = locks.lockPacked(); !locked)
        return std::unexpected(locked.error());
    if (auto checked = checkMoves(handle, moves); !checked)
        return std::unexpected(checked.error());
    if (!headMove)
        return locks;
    auto now = readHead(handle);
    if (!now)
        return std::unexpected(now.error());
    if (now->text != headMove->before.text)
        return fail(ErrorKind::Refused, "Another branch was checked out in the meantime", shownRef(now->text),
                    "Look again at what is there now, and repeat the step");
    if (now->tip != headMove->before.tip)
        return fail(ErrorKind::Refused, "The branch that is checked out moved in the meantime, to " + now->tip.brief(),
                    shownRef(now->text), "Look again at what is there now, and repeat the step");
    return locks;
}

// All at once, so that the disk is waited for once; also what is locked late.
Result<void> RefLocks::announce(const std::optional<HeadMove>& head)
{
    if (head) {
        m_headBefore = head->before;
        m_newHead = head->now == head->before.text ? std::string() : head->now;
    }
    std::vector<LockFiles::Wanted> wanted;
    std::set<std::string> deleted;
    for (Phase& phase : m_phases) {
        phase.first = wanted.size();
        for (const RefMove& move : phase.moves)
            wanted.push_back({lockPath(m_handle, move.name), deletes(move) ? "" : move.now.hex() + '\n'});
        if (phase.head)
            wanted.push_back({lockPath(m_handle, "HEAD"), m_newHead.empty() ? "" : headText(m_newHead)});
        deleted.merge(deletedOf(phase.moves));
    }
    if (!deleted.empty()) {
        m_packed = wanted.size();
        wanted.push_back({commonDirOf(m_handle) / "packed-refs.lock", ""});
    }
    return m_locks.announce(wanted);
}

Result<void> RefLocks::lock(const Phase& phase)
{
    for (std::size_t i = 0; i < phase.moves.size() + (phase.head ? 1 : 0); ++i)
        if (auto taken = m_locks.take(phase.first + i); !taken)
            return taken;
    return {};
}

// git packs refs whenever it likes: one that is not in packed-refs now may be there in a moment.
Result<void> RefLocks::lockPacked()
{
    return m_packed && !m_locks.isTaken(*m_packed) ? m_locks.take(*m_packed) : Result<void>();
}

Result<void> RefLocks::writeLogs(const Phase& phase, const std::string& line)
{
    for (const RefMove& move : phase.moves) {
        if (deletes(move))
            continue;
        if (auto logged = appendReflog(m_handle, move.name, move.old, move.now, line); !logged)
            return logged;
        // HEAD moves with the branch that it names; where it will name another, that move is its own line.
        if (m_newHead.empty() && move.name == m_headBefore.text)
            if (auto logged = appendReflog(m_handle, "HEAD", move.old, move.now, line); !logged)
                return logged;
    }
    if (!phase.head || m_newHead.empty())
        return {};
    const auto id = Oid::parse(m_newHead);
    auto after = id ? Result<Oid>(*id) : readRef(m_handle, m_newHead);
    if (!after)
        return std::unexpected(after.error());
    return appendReflog(m_handle, "HEAD", m_headBefore.tip, *after, line);
}

Result<void> RefLocks::moveRef(std::size_t number, const std::string& name)
{
    const fs::path file = refFile(m_handle, name);
    auto moved = m_locks.putInPlace(number, file);
    std::error_code ignored;
    // Folders that branches left which are gone: no ref is in them, else the names would stand in each other's way.
    if (!moved && fs::is_directory(file, ignored) && removeEmptyTree(file))
        moved = m_locks.putInPlace(number, file);
    if (!moved)
        return moved;
    return syncFolder(file.parent_path());
}

// packed-refs first: an older value in it must not come to light when the ref's own file is gone.
Result<void> RefLocks::removeRefs(const Phase& phase)
{
    const std::set<std::string> deleted = deletedOf(phase.moves);
    if (deleted.empty())
        return {};
    if (auto locked = lockPacked(); !locked)
        return locked;
    const fs::path common = commonDirOf(m_handle);
    auto rest = packedWithout(common, deleted);
    if (!rest)
        return std::unexpected(rest.error());
    if (*rest) {
        if (auto written = m_locks.write(*m_packed, **rest); !written)
            return written;
        if (auto placed = m_locks.putInPlace(*m_packed, common / "packed-refs"); !placed)
            return placed;
        if (auto synced = syncFolder(common); !synced)
            return synced;
    }
    for (const std::string& name : deleted) {
        const fs::path file = refFile(m_handle, name);
        if (::unlink(file.c_str()) < 0 && errno != ENOENT && errno != ENOTDIR)
            return storageError("The branch cannot be removed", file, errno);
        if (auto removed = removeReflog(m_handle, name); !removed)
            return removed;
        std::error_code ignored;
        if (fs::is_directory(file.parent_path(), ignored))
            if (auto synced = syncFolder(file.parent_path()); !synced)
                return synced;
    }
    return {};
}

Result<void> RefLocks::finish(const Phase& phase, const std::string& line)
{
    if (auto logged = writeLogs(phase, line); !logged)
        return logged;
    for (std::size_t i = 0; i < phase.moves.size(); ++i)
        if (const RefMove& move = phase.moves[i]; !deletes(move))
            if (auto moved = moveRef(phase.first + i, move.name); !moved)
                return moved;
    if (phase.head && !m_newHead.empty())
        if (auto moved = moveRef(phase.first + phase.moves.size(), "HEAD"); !moved)
            return moved;
    return removeRefs(phase);
}

Result<void> RefLocks::commit(const std::string& reflogLine, const std::function<void(Step)>& passed)
{
    const bool inSteps = std::ranges::any_of(m_phases, &Phase::late);
    for (const Phase& phase : m_phases) {
        if (phase.late) {
            if (passed)
                passed(Step::Deleted);
            // A lock in the folder of an old name keeps the new one from taking the folder's place.
            for (std::size_t i = 0; i < m_phases.front().moves.size(); ++i)
                if (auto let = m_locks.letGo(m_phases.front().first + i); !let)
                    return let;
            if (auto locked = lock(phase); !locked)
                return locked;
        }
        if (auto done = finish(phase, reflogLine); !done)
            return done;
        if (passed && !inSteps && &phase != &m_phases.back())
            passed(Step::PartMoved);
    }
    return {};
}

Result<void> setSymbolicRef(git_repository* handle, const std::string& name, const std::string& target)
{
    auto files = LockFiles::begin(commonDirOf(handle));
    if (!files)
        return std::unexpected(files.error());
    const fs::path file = refFile(handle, name);
    auto done = files->announce({{lockPath(handle, name), headText(target)}})
                    .and_then([&] { return files->take(0); })
                    .and_then([&] { return files->putInPlace(0, file); })
                    .and_then([&] { return syncFolder(file.parent_path()); });
    return done ? files->release() : done;
}

} // namespace espalier
