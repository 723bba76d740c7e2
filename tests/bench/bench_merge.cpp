// SPDX-License-Identifier: MIT
//
// Times core/merge. With a repository and lines "BASE -- NEWBASE COMMIT" on standard input (the form that `git merge-tree
// --stdin` reads): merges them all, cold store first, and prints seconds and counts. Without: Google Benchmark on texts.
//
//     bench_merge REPOSITORY < merges
#include "core/git/commit.h"
#include "core/merge/tree_merge.h"

#include <benchmark/benchmark.h>

#include <chrono>
#include <iostream>
#include <sstream>

using namespace espalier;

namespace {

std::string textOf(int lines, int changedFrom, int changed)
{
    std::string text;
    for (int i = 0; i < lines; ++i)
        text += "line " + std::to_string(i) + (i >= changedFrom && i < changedFrom + changed ? " changed" : "") + "\n";
    return text;
}

void mergeOfTexts(benchmark::State& state)
{
    const int lines = int(state.range(0));
    const std::string base = textOf(lines, 0, 0), newBase = textOf(lines, lines / 4, 5),
                      commit = textOf(lines, lines / 2, 5);
    for (auto _ : state)
        benchmark::DoNotOptimize(mergeTexts(base, newBase, commit));
    state.SetBytesProcessed(state.iterations() * std::int64_t(base.size()));
}
BENCHMARK(mergeOfTexts)->Arg(100)->Arg(1000)->Arg(10000);

int mergeAll(const char* path)
{
    const auto started = std::chrono::steady_clock::now();
    auto repository = Repository::open(path);
    if (!repository) {
        std::cerr << repository.error().line() << '\n';
        return 2;
    }
    ObjectStore store(*repository);
    MergeCaches caches;
    const MergeOptions options = MergeOptions::of(*repository);
    std::size_t merges = 0, conflicts = 0, failed = 0;
    for (std::string line; std::getline(std::cin, line); ++merges) {
        std::istringstream words(line);
        std::string base, dashes, newBase, commit;
        words >> base >> dashes >> newBase >> commit;
        const auto tree = [&](const std::string& id) -> Oid {
            const auto parsed = Oid::parse(id);
            const auto read = parsed ? readCommit(store, *parsed) : Result<Commit>(fail(ErrorKind::Usage, "No id", id));
            return read ? read->tree : Oid{};
        };
        const auto merge = mergeTrees(store, tree(base), tree(newBase), tree(commit), options, caches);
        failed += !merge;
        conflicts += merge && !merge->clean();
        if (merges % 256 == 255)
            store.dropNewObjects();
    }
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - started;
    std::cout << took.count() << " s, " << merges << " merges, " << conflicts << " with conflicts, " << failed
              << " failed\n";
    return failed ? 1 : 0;
}

} // namespace

int main(int argc, char** argv)
{
    if (argc == 2 && argv[1][0] != '-')
        return mergeAll(argv[1]);
    benchmark::Initialize(&argc, argv);
    benchmark::RunSpecifiedBenchmarks();
    return 0;
}
