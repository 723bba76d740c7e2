// SPDX-License-Identifier: MIT
//
// Many dry runs in one process, with one store and one set of caches: `dry-run --batch` and the forecasts. Memory stays
// flat however many there are.
//
//     Batch batch(repository);
//     Result<DryRun> run = batch.run(tip, onto);
//     runBatch(path, 2, nextLine, printInOrder);      // several threads, results in order
#pragma once

#include "core/replay/dry_run.h"

#include <functional>
#include <memory>
#include <optional>
#include <string>

namespace espalier {

struct BatchOptions {
    bool detectLanded = true;
    // Default: the configured identity now, or a nameless one where none is configured (nothing is ever written).
    std::optional<Person> committer;
    std::size_t cacheBytes = std::size_t(96) << 20;
    const History* history = nullptr; // what is known of commits already; must outlive the batch
};

class EquivalenceCache;
class MergeCaches;

// What batches of several threads over one repository read together; each may be null.
struct SharedReading {
    std::shared_ptr<EquivalenceCache> equivalence; // not used where other parents hold than those it was made for
    std::shared_ptr<const MergeCaches> merges;     // see MergeCaches::beside()
};

// One thread only.
class Batch {
  public:
    // `repository` must outlive the batch.
    explicit Batch(const Repository& repository, const BatchOptions& options = {}, const SharedReading& shared = {});
    ~Batch();
    Batch(const Batch&) = delete;
    Batch& operator=(const Batch&) = delete;

    // Ids of commits. The run's objects and files are left out (see dryRun); its ids are valid.
    // Errors: NotFound (no such commit), Broken, Cancelled.
    Result<DryRun> run(const Oid& tip, const Oid& onto, const Progress& progress = {});
    // The same where that takes little; nothing where the new base would have to be searched for what has landed, which reads
    // thousands of commits the first time, or very many files to be held against each other.
    Result<std::optional<DryRun>> runInAHurry(const Oid& tip, const Oid& onto, const Progress& progress = {});

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

// One line of a batch: what is named by two revisions ("TIP ONTO").
struct BatchLine {
    std::string tip, onto;
};
struct BatchAnswer {
    BatchLine line;
    Result<DryRun> run;
};
// As many as there are cores, up to four: each has its caches.
unsigned usualThreads();
// Takes lines from `next` (nothing: the end), on the calling thread, and gives answers in the same order to `answer`, one at a
// time, each as soon as those before it are given, also while `next` waits; with more than one thread on any of them. With one
// every answer is given before the next line is taken. Errors only when the repository cannot be opened or when stopped; what
// fails in a line is in its answer.
Result<void> runBatch(const Repository& repository, unsigned threads,
                      const std::function<std::optional<BatchLine>()>& next,
                      const std::function<void(const BatchAnswer&)>& answer, const BatchOptions& options = {},
                      const Progress& progress = {});

} // namespace espalier
