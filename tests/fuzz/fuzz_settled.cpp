// SPDX-License-Identifier: MIT
//
// What is kept of settled hunks and comes back from the disk: the store of past merges and its entries, the memory's files, and
// what git's recorded resolutions are taken apart by. The first byte picks one. What is read must come out the same when it is
// written and read again.
#include "core/conflicts/git_resolutions.h"
#include "core/propose/mined_store.h"
#include "core/settle/compose.h"
#include "core/settle/likeness.h"
#include "core/settle/memory_store.h"

#include <cstdlib>

using namespace espalier;

namespace {

void check(bool holds)
{
    if (!holds)
        std::abort();
}

void store(std::string_view text)
{
    std::size_t good = 0;
    const auto merges = parseMinedMerges(text, good);
    check(good <= text.size() && (good > 0 || merges.empty()));
}

// The check in front of an entry would keep the fuzzer out.
void entry(std::string_view text)
{
    if (const auto merge = parseMinedMerge(text))
        check(formatMinedMerge(*merge) == text);
}

void memory(std::string_view text)
{
    const Oid name;
    if (const auto settled = parseSettledBefore(text, name)) {
        const auto again = parseSettledBefore(formatSettledBefore(*settled), name);
        check(again && *again == *settled);
    }
}

// Parts of a text, cut at zero bytes.
std::vector<std::string> parts(std::string_view text)
{
    std::vector<std::string> all(1);
    for (const char c : text)
        if (c == '\0')
            all.emplace_back();
        else
            all.back() += c;
    return all;
}

// A settled file, and what stands between its hunks.
void resolution(std::string_view text)
{
    std::vector<std::string> between = parts(text);
    const std::string settled = std::move(between.back());
    between.pop_back();
    const auto hunks = hunksIn(between, settled);
    check(hunks.size() + 1 == between.size() || between.empty());
    for (const auto& hunk : hunks)
        check(!hunk || settled.contains(*hunk));
}

// Two hunks and what the first was settled with: with the very same sides the text comes back as it was.
void likeness(std::string_view text)
{
    const std::vector<std::string> all = parts(text);
    if (all.size() < 7)
        return;
    const HunkSides was{all[0], all[1], all[2]}, now{all[3], all[4], all[5]};
    const std::string& typed = all[6];
    (void)inOtherSpaces(was, typed, now);
    (void)withOtherSurroundings(was, typed, now);
    SettledBefore settled{textsOfHunk(all[0], all[1], all[2]),
                          SettledBefore::Sides{all[0], all[1], all[2]},
                          {Choice::Typed, typed},
                          {},
                          {},
                          {},
                          {},
                          1};
    const Memory memory({settled});
    (void)memory.recall(now);
    const auto same = memory.recall(was);
    check(same && same->likeness == Likeness::Same && same->decision == settled.decision);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    if (size == 0)
        return 0;
    const std::string_view text(reinterpret_cast<const char*>(data) + 1, size - 1);
    switch (data[0] % 5) {
    case 0:
        store(text);
        break;
    case 1:
        entry(text);
        break;
    case 2:
        memory(text);
        break;
    case 3:
        resolution(text);
        break;
    case 4:
        likeness(text);
        break;
    }
    return 0;
}
