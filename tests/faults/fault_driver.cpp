// SPDX-License-Identifier: MIT
//
// What only the window can do, from the command line, for the fault tests: as a command it resolves what is open, does one
// operation of core, and says in one line when that fails.
//
//     fault_driver rename CLONE topic/x renamed
#include "core/history/drift.h"
#include "core/keep/apply.h"
#include "core/keep/recover.h"
#include "core/remotes/clean_up.h"
#include "core/remotes/fetch.h"
#include "core/settle/memory_store.h"
#include "core/settle/remembered.h"

#include <cstdio>
#include <iostream>
#include <string>
#include <vector>

using namespace espalier;

namespace {

using Words = std::vector<std::string>;

Result<void> settle(const Repository& repository, const std::string& branch, const std::string& onto)
{
    const std::string ref = "refs/heads/" + branch;
    auto tip = repository.resolve(ref), base = repository.resolve(onto);
    if (!tip || !base)
        return std::unexpected(tip ? base.error() : tip.error());
    Settlements settlements;
    settlements =
        settlements.with({*tip, "a.txt"}, {{*tip, *base, *tip}, {SettledHunk{*tip, {Choice::YourCommit, {}}}}});
    return saveOpenSettlements(repository, {ref, *tip, *base}, settlements);
}

// Beside it, for the next time: the program does it by itself, and without a word when it fails.
Result<void> rememberOne(const Repository& repository, const std::string& branch)
{
    const auto tip = repository.resolve("refs/heads/" + branch);
    if (!tip)
        return std::unexpected(tip.error());
    return remember(repository, {*tip, {}, {Choice::YourCommit, {}}, "a.txt", branch, *tip, "One", 1772000000},
                    1772000000);
}

Result<void> cleanUpBranch(const Repository& repository, const std::string& branch)
{
    auto snapshot = takeSnapshot(repository);
    if (!snapshot)
        return std::unexpected(snapshot.error());
    auto found = findCleanUp(repository, *snapshot);
    if (!found)
        return std::unexpected(found.error());
    for (const CleanUpCandidate& candidate : *found) {
        if (candidate.branch != branch)
            continue;
        auto gone = cleanUp(repository, candidate, true);
        return gone ? Result<void>() : std::unexpected(gone.error());
    }
    return fail(ErrorKind::NotFound, "The branch has not landed", branch);
}

Result<void> perform(const Repository& repository, const Words& words)
{
    const std::string& name = words[0];
    const auto done = [](const Result<Applied>& applied) -> Result<void> {
        if (!applied)
            return std::unexpected(applied.error());
        for (const std::string& notice : applied->notices)
            std::cerr << notice << '\n';
        return {};
    };
    if (name == "check-out")
        return done(checkOut(repository, words[2]));
    if (name == "detach" || name == "move-to-topic") {
        const auto at = repository.resolve(words.back());
        if (!at)
            return std::unexpected(at.error());
        return done(name == "detach" ? checkOutDetached(repository, *at)
                                     : moveToTopic(repository, words[2], words[3], *at));
    }
    if (name == "create") {
        const auto at = repository.resolve(words[3]);
        return at ? done(createBranch(repository, words[2], *at, true)) : std::unexpected(at.error());
    }
    if (name == "rename")
        return done(renameBranch(repository, words[2], words[3]));
    if (name == "delete")
        return done(deleteBranch(repository, words[2]));
    if (name == "forget")
        return forgetEntry(repository, words[2]);
    if (name == "clean-up")
        return cleanUpBranch(repository, words[2]);
    if (name == "settle")
        return settle(repository, words[2], words[3]);
    if (name == "remember")
        return rememberOne(repository, words[2]);
    if (name == "fetch") {
        auto fetched = fetchRemote(repository, words[2]);
        if (!fetched)
            return std::unexpected(fetched.error());
        // As the window: what was not written is an error, the rest is only said.
        for (const std::string& notice : fetched->notices) {
            if (notice.starts_with("Not written") || notice.starts_with("Nothing was"))
                return fail(ErrorKind::Storage, notice);
            std::cerr << notice << '\n';
        }
        return {};
    }
    return fail(ErrorKind::Usage, "There is no such operation", name);
}

int report(const std::string& line)
{
    std::fprintf(stderr, "espalier: %s\n", line.c_str());
    return 2;
}

} // namespace

int main(int argc, char** argv)
{
    const Words words(argv + 1, argv + argc);
    if (words.size() < 2)
        return report("fault_driver OPERATION CLONE [WORD…]");
    const auto repository = Repository::open(words[1]);
    if (!repository)
        return report(repository.error().line());
    const auto resolved = resolveOpenEntries(*repository);
    if (!resolved)
        return report(resolved.error().line());
    for (const std::string& line : resolved->lines)
        std::cerr << line << '\n';
    if (!resolved->halfDone.empty())
        return report(resolved->halfDone.front().line());
    const auto done = perform(*repository, words);
    return done ? 0 : report(done.error().line());
}
