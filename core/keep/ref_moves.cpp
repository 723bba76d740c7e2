// SPDX-License-Identifier: MIT
#include "core/keep/ref_moves.h"

#include "core/git/text.h"
#include "core/keep/apply_steps.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

std::string shown(const std::string& ref)
{
    constexpr std::string_view heads = "refs/heads/";
    return displayText(ref.starts_with(heads) ? std::string_view(ref).substr(heads.size()) : std::string_view(ref),
                       300);
}

bool standsInTheWay(const std::string& a, const std::string& b)
{
    return a.starts_with(b + "/") || b.starts_with(a + "/");
}

std::vector<std::string> refNames(git_repository* handle)
{
    std::vector<std::string> names;
    Handle<git_reference_iterator> iterator;
    if (git_reference_iterator_new(out(iterator), handle) < 0)
        return names;
    const char* name = nullptr;
    while (git_reference_next_name(&name, iterator.get()) == 0)
        names.emplace_back(name);
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
        return libgitError("The branch cannot be moved", shown(move.name));
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
        return libgitError("HEAD cannot be moved", shown(newHead));
    return {};
}

} // namespace

Result<Head> readHead(git_repository* handle)
{
    Handle<git_reference> ref;
    if (git_reference_lookup(out(ref), handle, "HEAD") < 0)
        return libgitError("HEAD cannot be read", git_repository_path(handle), "git fsck tells what is damaged");
    Head head;
    if (git_reference_type(ref.get()) == GIT_REFERENCE_DIRECT) {
        head.detached = true;
        head.tip = fromGit(*git_reference_target(ref.get()));
        head.text = head.tip.hex();
        return head;
    }
    head.text = git_reference_symbolic_target(ref.get());
    auto tip = readRef(handle, head.text);
    if (!tip)
        return std::unexpected(tip.error());
    head.tip = *tip;
    return head;
}

Result<Oid> readRef(git_repository* handle, const std::string& name)
{
    Handle<git_reference> ref;
    const int code = git_reference_lookup(out(ref), handle, name.c_str());
    if (code == GIT_ENOTFOUND)
        return Oid{};
    if (code == GIT_EINVALIDSPEC)
        return fail(ErrorKind::Usage, "This is not a name that a branch can have", shown(name), "Choose another name");
    if (code < 0)
        return libgitError("The branch cannot be read", shown(name), "git fsck tells what is damaged");
    if (git_reference_type(ref.get()) != GIT_REFERENCE_DIRECT)
        return fail(ErrorKind::Refused, "This branch only points at another branch", shown(name),
                    "Work with the branch that it points at");
    return fromGit(*git_reference_target(ref.get()));
}

Result<void> checkMoves(git_repository* handle, const std::vector<RefMove>& moves)
{
    bool creates = false;
    for (const RefMove& move : moves) {
        auto now = readRef(handle, move.name);
        if (!now)
            return std::unexpected(now.error());
        if (*now != move.old && move.old.isZero())
            return fail(ErrorKind::Refused, "There is a branch of that name already", shown(move.name),
                        "Choose another name");
        if (*now != move.old && now->isZero())
            return fail(ErrorKind::Refused, "The branch is gone", shown(move.name), "Look again at what is there now");
        if (*now != move.old)
            return fail(ErrorKind::Refused, "The branch moved in the meantime, to " + now->brief(), shown(move.name),
                        "Look again at what is there now, and repeat the step");
        creates = creates || move.old.isZero();
    }
    if (!creates)
        return {};
    for (const std::string& name : refNames(handle)) {
        for (const RefMove& move : moves) {
            const bool goes = std::ranges::any_of(
                moves, [&](const RefMove& other) { return other.name == name && other.now.isZero(); });
            if (move.old.isZero() && !goes && standsInTheWay(name, move.name))
                return fail(ErrorKind::Refused,
                            "A branch cannot stand beside " + shown(name) +
                                ", whose name is the beginning of the other",
                            shown(move.name), "Choose another name");
        }
    }
    return {};
}

Result<RefLocks> RefLocks::take(git_repository* handle, std::vector<RefMove> moves, std::string newHead, bool holdHead,
                                const std::string& headBefore)
{
    RefLocks locks;
    locks.m_handle = handle;
    locks.m_newHead = std::move(newHead);
    Phase first, update, head, last;
    head.head = holdHead || !locks.m_newHead.empty();
    for (const RefMove& move : moves) {
        const bool makesRoom = move.now.isZero() && std::ranges::any_of(moves, [&](const RefMove& other) {
                                   return !other.now.isZero() && standsInTheWay(move.name, other.name);
                               });
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
    auto now = readHead(handle);
    if (!now)
        return std::unexpected(now.error());
    if ((holdHead || !locks.m_newHead.empty()) && now->text != headBefore)
        return fail(ErrorKind::Refused, "Another branch was checked out in the meantime", shown(now->text),
                    "Look again at what is there now, and repeat the step");
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
            return fail(ErrorKind::Refused, "Another program is using the branch", shown(name),
                        "Wait until it is done; if no git program is running, remove " +
                            lockPath(m_handle, name).string());
        if (code < 0)
            return libgitError("The branch cannot be locked", shown(name),
                               "Check the free space and the permissions of the repository's folder");
    }
    return {};
}

std::vector<FileMark> RefLocks::marks() const
{
    std::vector<FileMark> marks;
    for (const Phase& phase : m_phases) {
        if (!phase.transaction)
            continue;
        for (const RefMove& move : phase.moves) {
            if (auto mark = FileMark::of(lockPath(m_handle, move.name)))
                marks.push_back(*mark);
        }
        if (phase.head) {
            if (auto mark = FileMark::of(lockPath(m_handle, "HEAD")))
                marks.push_back(*mark);
        }
    }
    return marks;
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
        return libgitError("The branch cannot be moved", phase.moves.empty() ? "HEAD" : shown(phase.moves.front().name),
                           "Check the free space and the permissions of the repository's folder");
    phase.transaction.reset();
    // A reflog that stays behind would stand in the way of a branch below this name; git removes it too.
    for (const RefMove& move : phase.moves) {
        if (move.now.isZero())
            git_reflog_delete(m_handle, move.name.c_str());
    }
    return {};
}

Result<void> RefLocks::commit(const std::string& reflogLine)
{
    const bool inSteps = std::ranges::any_of(m_phases, &Phase::late);
    for (Phase& phase : m_phases) {
        if (phase.late) {
            passApplyStep(ApplyStep::RefsDeleted);
            if (auto locked = lock(phase); !locked)
                return locked;
        }
        if (auto done = finish(phase, reflogLine); !done)
            return done;
        if (!inSteps && &phase != &m_phases.back())
            passApplyStep(ApplyStep::PartMoved);
    }
    return {};
}

} // namespace espalier
