// SPDX-License-Identifier: MIT
//
// Every parser of text that a repository, a logbook file or a person brings. The first byte picks one. What is taken must
// survive being written again; what is shown must be plain UTF-8 without control characters.
#include "core/conflicts/file_kind.h"
#include "core/conflicts/submodule_commits.h"
#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/history/commit_headers.h"
#include "core/history/line_shift.h"
#include "core/history/search.h"
#include "core/keep/entry_file.h"
#include "core/merge/attributes.h"
#include "core/merge/wildcard.h"
#include "core/samples/recipe.h"
#include "core/settle/indent_habit.h"
#include "core/settle/remarks.h"
#include "core/tree/edit.h"
#include "core/tree/names.h"

#include <git2.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <filesystem>

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
    if (auto parsed = parseCommit(Oid(), text); parsed && !parsed->encoding().empty()) {
        parsed->toUtf8();
        check(isUtf8(parsed->message) && isUtf8(parsed->authorLine) && isUtf8(parsed->committerLine));
    }
}

void names(std::string_view text)
{
    if (!isSafePath(text))
        return;
    // No part of what is taken leads out of the worktree or into git's own folder.
    const std::filesystem::path path(text);
    check(!path.is_absolute() && path.lexically_normal() == path);
    for (const auto& part : path)
        check(part != ".." && part != "." && part != ".git");
}

// A pattern and a path, with a line end between them.
void wildcard(std::string_view text)
{
    const std::string_view pattern = text.substr(0, text.find('\n'));
    long steps = 1'000'000;
    (void)matchesWildcard(pattern, text.substr(std::min(pattern.size() + 1, text.size())), steps);
}

// A tree with this .gitattributes file.
void attributes(std::string_view text)
{
    static const Repository repository = [] {
        const auto path = std::filesystem::temp_directory_path() / "espalier-fuzz-attributes.git";
        git_libgit2_init();
        git_repository* made = nullptr;
        git_repository_init(&made, path.c_str(), 1);
        git_repository_free(made);
        auto opened = Repository::open(path);
        check(opened.has_value());
        return std::move(*opened);
    }();
    ObjectStore store(repository);
    const auto tree =
        editTree(store, Oid(), {{".gitattributes", {FileMode::File, store.add(ObjectType::Blob, std::string(text))}}});
    check(tree.has_value());
    MergeAttributes reader;
    for (const char* path : {"a", "lib/a.c"})
        if (const auto found = reader.of(store, *tree, path))
            check(found->markerSize >= 1 && found->markerSize <= 1000);
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

void otherSide(std::string_view text)
{
    check(isUtf8(fileKind(text).words));
    if (const auto decoded = textOfUtf16(text))
        check(isUtf8(*decoded));
    // A path and a .gitmodules file, with a line end between them. A name is what the file says.
    const std::string_view path = text.substr(0, text.find('\n'));
    const std::string_view modules = text.substr(std::min(path.size() + 1, text.size()));
    check(submoduleName(modules, path).size() <= modules.size());
}

// Two texts with a NUL between them: what is the same in both cancels out.
void shift(std::string_view text)
{
    const std::string_view before = text.substr(0, text.find('\0'));
    const std::string_view after = text.substr(std::min(before.size() + 1, text.size()));
    check(lineShift(before, before) == 0);
    const auto framed = [](std::string_view part) { return "first\n" + std::string(part) + "\nlast\n"; };
    check(lineShift(framed(before), framed(after)) == lineShift(std::string(before) + "\n", std::string(after) + "\n"));
}

// Three sides and a settled text, one behind the other with a zero byte between them.
void settled(std::string_view text)
{
    std::array<std::string_view, 4> parts;
    for (std::string_view& part : parts) {
        part = text.substr(0, text.find('\0'));
        text.remove_prefix(std::min(part.size() + 1, text.size()));
    }
    const std::vector<Remark> remarks = remarksOn({parts[0], parts[1], parts[2], parts[3]});
    check(remarks.size() <= 100);
    int before = 0;
    for (const Remark& remark : remarks) {
        check(remark.line >= before && remark.line < int(parts[3].size()));
        before = remark.line;
        check(isUtf8(remark.words) && remark.words.size() < 300);
    }
    // What is one of its sides has nothing that a side has not.
    check(remarksOn({parts[0], parts[3], parts[2], parts[3]}).empty());
    const IndentHabit habit = indentHabit(parts[3]);
    check(habit.step >= 2 && habit.step <= 8);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    if (size == 0)
        return 0;
    const std::string_view text(reinterpret_cast<const char*>(data) + 1, size - 1);
    switch (data[0] % 12) {
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
    case 6:
        names(text);
        break;
    case 7:
        wildcard(text);
        break;
    case 8:
        settled(text);
        break;
    case 9:
        attributes(text);
        break;
    case 10:
        otherSide(text);
        break;
    case 11:
        shift(text);
        break;
    }
    return 0;
}
