// SPDX-License-Identifier: MIT
//
// Every parser of text that a repository, a logbook file or a person brings. The first byte picks one. What is taken must
// survive being written again; what is shown must be plain UTF-8 without control characters.
#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/history/commit_headers.h"
#include "core/history/search.h"
#include "core/keep/entry_file.h"
#include "core/samples/recipe.h"
#include "core/tree/entry.h"

#include <cstdlib>

using namespace espalier;

namespace {

void check(bool holds)
{
    if (!holds)
        std::abort();
}

void shown(std::string_view text)
{
    for (const std::size_t limit : {std::size_t(40), std::size_t(4096)}) {
        const std::string display = displayText(text, limit);
        check(isUtf8(display));
        for (const char c : display)
            check(static_cast<unsigned char>(c) >= 0x20 || c == '\n' || c == '\t');
    }
    check(isUtf8(escapePath(text)));
    (void)subjectOf(text);
}

void tree(std::string_view text)
{
    if (const auto entries = parseTree(text); entries) {
        const std::string again = formatTree(*entries);
        const auto twice = parseTree(again);
        check(twice && twice->size() == entries->size());
        for (std::size_t i = 0; i < entries->size(); ++i)
            check((*twice)[i].name == (*entries)[i].name && (*twice)[i].id == (*entries)[i].id);
    }
}

void commit(std::string_view text)
{
    std::vector<Oid> parents;
    std::int64_t time = 0;
    Oid target;
    (void)parseHeader(text, parents, time);
    (void)parseTagTarget(text, target);
    (void)parseCommit(Oid(), text);
}

void entry(std::string_view text)
{
    const std::string id = "20260301T101500Z-0001";
    if (const auto parsed = parseEntry(text, id)) {
        const std::string written = formatEntry(*parsed);
        const auto again = parseEntry(written, id);
        check(again && formatEntry(*again) == written);
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    if (size == 0)
        return 0;
    const std::string_view text(reinterpret_cast<const char*>(data) + 1, size - 1);
    switch (data[0] % 6) {
    case 0:
        shown(text);
        break;
    case 1:
        tree(text);
        break;
    case 2:
        commit(text);
        break;
    case 3:
        entry(text);
        break;
    case 4:
        (void)parseSearch(text);
        break;
    case 5:
        (void)parseRecipe(std::string(text), [](const std::string&) { return std::string(); });
        break;
    }
    return 0;
}
