// SPDX-License-Identifier: MIT
//
// Our own code beside the library's where a library would do the same: reading packs, merging texts, writing JSON lines. The
// figures stand in the headers of that code, which stays ours only while they show that it pays.
//
//     ESPALIER_BENCH_REPOSITORY=PATH bench_own_code          a repository with packs; else the one around
#include "core/git/handles.h"
#include "core/git/objects.h"
#include "core/git/pack_reader.h"
#include "core/merge/text_merge.h"
#include "core/replay/json.h"
#include "core/tree/entry.h"

#include <benchmark/benchmark.h>
#include <git2.h>
#include <nlohmann/json.hpp>

#include <cstdlib>

using namespace espalier;

namespace {

// All objects of the commit that HEAD names: its trees, then its files, folder by folder.
struct Tree {
    std::optional<Repository> repository;
    std::vector<Oid> files, trees;

    void collect(ObjectStore& store, const Oid& id, int depth)
    {
        trees.push_back(id);
        const auto read = openTree(store, id);
        if (!read || depth > deepestFolder)
            return;
        for (TreeCursor at(read->view()); !at.atEnd(); at.next())
            if (at.entry().isTree())
                collect(store, at.entry().id, depth + 1);
            else if (isRegularFile(at.entry().mode))
                files.push_back(at.entry().id);
    }
    Tree()
    {
        const char* path = std::getenv("ESPALIER_BENCH_REPOSITORY");
        auto opened = Repository::open(path ? path : ".");
        if (!opened)
            return;
        repository.emplace(std::move(*opened));
        Handle<git_object> found;
        if (git_revparse_single(out(found), raw(*repository), "HEAD^{tree}") != 0)
            return;
        ObjectStore store(*repository);
        collect(store, fromGit(*git_object_id(found.get())), 0);
    }
};

const Tree& tree(benchmark::State& state)
{
    static const Tree only;
    if (only.files.empty())
        state.SkipWithError("name a repository with files in ESPALIER_BENCH_REPOSITORY");
    return only;
}

// Every file and tree of HEAD once, by a reader that was just opened, its id checked.
void readByUs(benchmark::State& state)
{
    const Tree& all = tree(state);
    for (auto _ : state) {
        PackReader reader(PackFiles::open(objectFolders(all.repository->commonDir())));
        for (const auto* ids : {&all.trees, &all.files})
            for (const Oid& id : *ids)
                benchmark::DoNotOptimize(reader.readChecked(id));
    }
    state.SetItemsProcessed(state.iterations() * std::int64_t(all.files.size() + all.trees.size()));
}

void readByLibgit2(benchmark::State& state)
{
    const Tree& all = tree(state);
    for (auto _ : state) {
        auto opened = Repository::open(all.repository->commonDir());
        Handle<git_odb> odb;
        if (!opened || git_repository_odb(out(odb), raw(*opened)) != 0) {
            state.SkipWithError("cannot be opened");
            return;
        }
        for (const auto* ids : {&all.trees, &all.files})
            for (const Oid& id : *ids) {
                const git_oid wanted = toGit(id);
                Handle<git_odb_object> object;
                benchmark::DoNotOptimize(git_odb_read(out(object), odb.get(), &wanted));
            }
    }
    state.SetItemsProcessed(state.iterations() * std::int64_t(all.files.size() + all.trees.size()));
}

// A text of so many lines; every fortieth is changed on the first side, and another fortieth on the second.
std::string textOf(int lines, int changedAt)
{
    std::string text;
    for (int i = 0; i < lines; ++i)
        text += "    value" + std::to_string(i % 97) + " = read(line, " + std::to_string(i) + ");" +
                (changedAt >= 0 && i % 40 == changedAt ? " // changed\n" : "\n");
    return text;
}

void mergeByUs(benchmark::State& state)
{
    const int lines = int(state.range(0));
    const std::string base = textOf(lines, -1), left = textOf(lines, 5), right = textOf(lines, 25);
    for (auto _ : state)
        benchmark::DoNotOptimize(mergeTexts(base, left, right));
}

void mergeByLibgit2(benchmark::State& state)
{
    const int lines = int(state.range(0));
    const std::string base = textOf(lines, -1), left = textOf(lines, 5), right = textOf(lines, 25);
    const auto input = [](const std::string& text) {
        git_merge_file_input made = GIT_MERGE_FILE_INPUT_INIT;
        made.ptr = text.data();
        made.size = text.size();
        return made;
    };
    const git_merge_file_input ancestor = input(base), ours = input(left), theirs = input(right);
    for (auto _ : state) {
        git_merge_file_result result{};
        benchmark::DoNotOptimize(git_merge_file(&result, &ancestor, &ours, &theirs, nullptr));
        git_merge_file_result_free(&result);
    }
}

// A dry run of so many commits without conflicts, as `dry-run --batch` writes it.
DryRun runOf(std::size_t commits)
{
    DryRun run;
    run.plan.branch = "refs/heads/topic";
    for (std::size_t i = 0; i < commits; ++i) {
        ReplayedCommit commit;
        commit.id.bytes[0] = std::uint8_t(i);
        commit.subject = "Read the lines of the file one by one";
        commit.newId = commit.id;
        run.commits.push_back(commit);
    }
    return run;
}

void jsonByUs(benchmark::State& state)
{
    const DryRun run = runOf(std::size_t(state.range(0)));
    for (auto _ : state)
        benchmark::DoNotOptimize(dryRunJson(run));
}

void jsonByLibrary(benchmark::State& state)
{
    const DryRun run = runOf(std::size_t(state.range(0)));
    for (auto _ : state) {
        nlohmann::ordered_json json;
        json["branch"] = "topic";
        json["tip"] = run.plan.tip.hex();
        json["onto"] = run.plan.onto.hex();
        json["mergeBase"] = nullptr;
        json["commits"] = nlohmann::ordered_json::array();
        for (const ReplayedCommit& commit : run.commits) {
            nlohmann::ordered_json one;
            one["id"] = commit.id.hex();
            one["subject"] = commit.subject;
            one["outcome"] = "clean";
            one["newId"] = commit.newId->hex();
            one["newTree"] = nullptr;
            one["dependsOn"] = nlohmann::ordered_json::array();
            one["conflicts"] = nlohmann::ordered_json::array();
            one["unclear"] = nlohmann::ordered_json::array();
            json["commits"].push_back(std::move(one));
        }
        json["clean"] = false;
        json["newTip"] = nullptr;
        json["newTree"] = nullptr;
        benchmark::DoNotOptimize(json.dump());
    }
}

BENCHMARK(readByUs)->Unit(benchmark::kMillisecond);
BENCHMARK(readByLibgit2)->Unit(benchmark::kMillisecond);
BENCHMARK(mergeByUs)->Arg(1000)->Arg(20000)->Unit(benchmark::kMicrosecond);
BENCHMARK(mergeByLibgit2)->Arg(1000)->Arg(20000)->Unit(benchmark::kMicrosecond);
BENCHMARK(jsonByUs)->Arg(1)->Arg(20)->Unit(benchmark::kMicrosecond);
BENCHMARK(jsonByLibrary)->Arg(1)->Arg(20)->Unit(benchmark::kMicrosecond);

} // namespace

BENCHMARK_MAIN();
