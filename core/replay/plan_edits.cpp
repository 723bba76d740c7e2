// SPDX-License-Identifier: MIT
#include "core/git/text.h"
#include "core/replay/plan.h"

#include <algorithm>

namespace espalier {

namespace {

bool folds(Treatment treatment) { return treatment == Treatment::Fold || treatment == Treatment::FoldQuietly; }

// Every folded commit needs one before it that is carried.
Result<Plan> checked(Plan plan)
{
    bool carried = false;
    for (const PlannedCommit& commit : plan.commits) {
        carried |= commit.treatment == Treatment::Carry;
        if (folds(commit.treatment) && !carried)
            return fail(ErrorKind::Usage, "There is no commit before this one to fold it into", commit.subject,
                        "Move it behind another commit, or carry it");
    }
    return plan;
}

std::unexpected<Error> noSuchCommit(const Plan& plan)
{
    return fail(ErrorKind::Usage, "The plan has no such commit", plan.label, "Make the dry run again");
}

std::string withLineEnd(std::string message)
{
    if (!message.empty() && message.back() != '\n')
        message += '\n';
    return message;
}

// What a marked commit asks for.
struct Mark {
    enum Kind { None, Fixup, Squash, Amend } kind = None;
    std::string_view target; // subject or beginning of an id
};

Mark markOf(std::string_view subject)
{
    static constexpr std::pair<std::string_view, Mark::Kind> words[] = {
        {"fixup! ", Mark::Fixup}, {"squash! ", Mark::Squash}, {"amend! ", Mark::Amend}};
    Mark mark;
    // A fix-up of a fix-up goes where the first one goes; the outermost word says how.
    for (bool again = true; again;) {
        again = false;
        for (const auto& [word, kind] : words)
            if (subject.starts_with(word)) {
                subject.remove_prefix(word.size());
                if (mark.kind == Mark::None)
                    mark.kind = kind;
                again = true;
            }
    }
    mark.target = subject;
    return mark;
}

// The commit that a mark names: by the whole subject, else by the beginning of an id, else by the beginning of a
// subject.
std::optional<std::size_t> targetOf(const std::vector<PlannedCommit>& before, const Mark& mark)
{
    const auto find = [&](auto matches) -> std::optional<std::size_t> {
        for (std::size_t i = 0; i < before.size(); ++i)
            if (markOf(before[i].subject).kind == Mark::None && matches(before[i]))
                return i;
        return std::nullopt;
    };
    if (mark.target.empty())
        return std::nullopt;
    if (const auto at = find([&](const PlannedCommit& commit) { return commit.subject == mark.target; }))
        return at;
    const bool isId = mark.target.size() >= 4 && mark.target.find_first_not_of("0123456789abcdef") == std::string::npos;
    if (isId)
        if (const auto at = find([&](const PlannedCommit& commit) { return commit.id.hex().starts_with(mark.target); }))
            return at;
    return find([&](const PlannedCommit& commit) { return commit.subject.starts_with(mark.target); });
}

// The message below the marked subject; empty when there is nothing.
std::string bodyOf(ObjectStore& store, const Oid& id)
{
    const auto commit = readCommit(store, id);
    if (!commit)
        return {};
    std::string message = commit->messageUtf8();
    message.erase(0, message.find_first_not_of('\n'));
    const std::size_t end = message.find("\n\n");
    if (end == std::string::npos)
        return {};
    message.erase(0, message.find_first_not_of('\n', end));
    return message;
}

} // namespace

Result<Plan> withTreatment(const Plan& plan, std::size_t index, Treatment treatment)
{
    if (index >= plan.commits.size())
        return noSuchCommit(plan);
    if (plan.commits[index].isMerge && folds(treatment))
        return fail(ErrorKind::Usage, "A merge cannot be folded into another commit", plan.commits[index].subject,
                    "Carry it or leave it out");
    Plan next = plan;
    next.commits[index].treatment = treatment;
    return checked(std::move(next));
}

Result<Plan> withMessage(const Plan& plan, std::size_t index, std::string message)
{
    if (index >= plan.commits.size())
        return noSuchCommit(plan);
    if (subjectOf(message).empty())
        return fail(ErrorKind::Usage, "A commit needs a message", plan.commits[index].subject,
                    "Write at least one line");
    Plan next = plan;
    next.commits[index].newMessage = withLineEnd(std::move(message));
    return next;
}

Result<Plan> withMoved(const Plan& plan, std::size_t from, std::size_t to)
{
    if (from >= plan.commits.size() || to >= plan.commits.size())
        return noSuchCommit(plan);
    if (std::ranges::any_of(plan.commits, &PlannedCommit::isMerge))
        return fail(ErrorKind::Usage, "The order cannot be changed where merges are kept", plan.label,
                    "Flatten the merges first");
    Plan next = plan;
    const auto begin = next.commits.begin();
    const auto at = std::ptrdiff_t(from), target = std::ptrdiff_t(to);
    if (from < to)
        std::rotate(begin + at, begin + at + 1, begin + target + 1);
    else
        std::rotate(begin + target, begin + at, begin + at + 1);
    return checked(std::move(next));
}

Plan withFixupsGathered(const Repository& repository, const Plan& plan)
{
    if (std::ranges::any_of(plan.commits, &PlannedCommit::isMerge))
        return plan; // their order says what stands on what
    ObjectStore store(repository);
    Plan next = plan;
    next.commits.clear();
    // For each commit of the result, the one that it was gathered behind, or itself.
    std::vector<Oid> heads;
    for (const PlannedCommit& original : plan.commits) {
        PlannedCommit commit = original;
        const Mark mark = markOf(commit.subject);
        const auto target = mark.kind == Mark::None || commit.treatment == Treatment::LeaveOut
                                ? std::nullopt
                                : targetOf(next.commits, mark);
        if (!target || next.commits[*target].treatment == Treatment::LeaveOut) {
            heads.push_back(commit.id);
            next.commits.push_back(std::move(commit));
            continue;
        }
        const Oid head = heads[*target];
        std::string body = mark.kind == Mark::Fixup ? std::string() : bodyOf(store, commit.id);
        commit.treatment = Treatment::FoldQuietly;
        if (mark.kind == Mark::Squash && !body.empty()) {
            commit.treatment = Treatment::Fold;
            commit.newMessage = withLineEnd(std::move(body));
        } else if (mark.kind == Mark::Amend && !body.empty()) {
            next.commits[*target].newMessage = withLineEnd(std::move(body));
        }
        std::size_t at = *target + 1;
        while (at < heads.size() && heads[at] == head)
            ++at;
        next.commits.insert(next.commits.begin() + std::ptrdiff_t(at), std::move(commit));
        heads.insert(heads.begin() + std::ptrdiff_t(at), head);
    }
    return next;
}

} // namespace espalier
