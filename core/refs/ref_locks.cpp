// SPDX-License-Identifier: MIT
#include "core/refs/ref_locks.h"

#include "core/refs/ref_name.h"

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

fs::path lockPath(git_repository* handle, const std::string& ref)
{
    const fs::path folder = ref == "HEAD" ? git_repository_path(handle) : git_repository_commondir(handle);
    return folder / (ref + ".lock");
}

Result<void> moveOne(git_transaction* transaction, const RefMove& move, const std::string& line)
{
    const git_oid now = toGit(move.now);
    const int code = move.now.isZero()
                         ? git_transaction_remove(transaction, move.name.c_str())
                         : git_transaction_set_target(transaction, move.name.c_str(), &now, nullptr, line.c_str());
    if (code < 0)
        return libgitError("The branch cannot be moved", shownRef(move.name));
    return {};
}

Result<void> moveHead(git_transaction* transaction, const std::string& newHead, const std::string& line)
{
    int code = 0;
    if (const auto id = Oid::parse(newHead)) {
        const git_oid raw = toGit(*id);
        code = git_transaction_set_target(transaction, "HEAD", &raw, nullptr, line.c_str());
    } else {
        code = git_transaction_set_symbolic_target(transaction, "HEAD", newHead.c_str(), nullptr, line.c_str());
    }
    if (code < 0)
        return libgitError("HEAD cannot be moved", shownRef(newHead));
    return {};
}

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
    RefLocks locks;
    locks.m_handle = handle;
    locks.m_newHead = headMove ? headMove->now : std::string();
    Phase first, update, head, last;
    head.head = headMove.has_value();
    std::set<std::string> coming;
    for (const RefMove& move : moves)
        if (!move.now.isZero())
            coming.insert(move.name);
    for (const RefMove& move : moves) {
        const bool makesRoom = move.now.isZero() && !inTheWay(coming, move.name).empty();
        (makesRoom ? first : move.now.isZero() ? last : update).moves.push_back(move);
    }
    update.late = !first.moves.empty();
    for (Phase* phase : {&first, &update, &head, &last}) {
        if (phase->moves.empty() && !phase->head)
            continue;
        locks.m_phases.push_back(std::move(*phase));
        if (locks.m_phases.back().late)
            continue;
        if (auto locked = locks.lock(locks.m_phases.back()); !locked)
            return std::unexpected(locked.error());
    }
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

Result<void> RefLocks::lock(Phase& phase)
{
    if (git_transaction_new(out(phase.transaction), m_handle) < 0)
        return libgitError("The branches cannot be locked");
    std::vector<std::string> names;
    for (const RefMove& move : phase.moves)
        names.push_back(move.name);
    if (phase.head)
        names.emplace_back("HEAD");
    for (const std::string& name : names) {
        const int code = git_transaction_lock_ref(phase.transaction.get(), name.c_str());
        if (code == GIT_ELOCKED)
            return fail(ErrorKind::Refused, "Another program is using the branch", shownRef(name),
                        "Wait until it is done; if no git program is running, remove " +
                            lockPath(m_handle, name).string());
        if (code < 0)
            return libgitError("The branch cannot be locked", shownRef(name),
                               "Check the free space and the permissions of the repository's folder");
    }
    return {};
}

std::vector<fs::path> RefLocks::lockFiles() const
{
    std::vector<fs::path> files;
    for (const Phase& phase : m_phases) {
        if (!phase.transaction)
            continue;
        for (const RefMove& move : phase.moves)
            files.push_back(lockPath(m_handle, move.name));
        if (phase.head)
            files.push_back(lockPath(m_handle, "HEAD"));
    }
    return files;
}

Result<void> RefLocks::finish(Phase& phase, const std::string& reflogLine)
{
    for (const RefMove& move : phase.moves) {
        if (auto moved = moveOne(phase.transaction.get(), move, reflogLine); !moved)
            return moved;
    }
    if (phase.head && !m_newHead.empty()) {
        if (auto moved = moveHead(phase.transaction.get(), m_newHead, reflogLine); !moved)
            return moved;
    }
    if (git_transaction_commit(phase.transaction.get()) < 0)
        return libgitError("The branch cannot be moved",
                           phase.moves.empty() ? "HEAD" : shownRef(phase.moves.front().name),
                           "Check the free space and the permissions of the repository's folder");
    phase.transaction.reset();
    // A reflog that stays behind would stand in the way of a branch below this name; git removes it too.
    for (const RefMove& move : phase.moves) {
        if (move.now.isZero())
            git_reflog_delete(m_handle, move.name.c_str());
    }
    return {};
}

Result<void> RefLocks::commit(const std::string& reflogLine, const std::function<void(Step)>& passed)
{
    const bool inSteps = std::ranges::any_of(m_phases, &Phase::late);
    for (Phase& phase : m_phases) {
        if (phase.late) {
            if (passed)
                passed(Step::Deleted);
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

} // namespace espalier
