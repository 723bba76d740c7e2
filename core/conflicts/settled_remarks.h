// SPDX-License-Identifier: MIT
//
// What looks wrong in the files that a dry run's settlements give, file for file: the one answer for the settle page, the list
// of the replay and apply. What is judged is the blob that the dry run made, the very bytes that apply writes.
//
//     RemarkCache cache;
//     Result<std::vector<FileRemarks>> all = settledRemarks(repository, run, cache, {}, progress);   // on a worker thread
#pragma once

#include "core/replay/dry_run.h"
#include "core/settle/remarks.h"

#include <functional>
#include <map>
#include <tuple>

namespace espalier {

struct FileRemarks {
    std::size_t commit = 0; // index into the run's
    SettlementKey key;
    std::string path; // bytes, as ConflictText::path
    std::vector<Remark> remarks;
};

// Judges the same texts by other means than their lines; may be empty.
using MoreRemarks = std::function<std::vector<Remark>(const JudgedTexts& texts)>;

// What was found before, so that a decision costs the reading of its own file. For one thread at a time.
struct RemarkCache {
    // Ancestor, new base, commit, settled, and the size of the path's markers.
    using Texts = std::tuple<Oid, Oid, Oid, Oid, int>;
    std::map<Texts, std::vector<Remark>> known;
};

// Of every text that is decided to its end, in order of the run; files without remarks are left out. Errors: Broken (a missing
// or damaged object), Cancelled.
Result<std::vector<FileRemarks>> settledRemarks(const Repository& repository, const DryRun& run, RemarkCache& cache,
                                                const MoreRemarks& more, const Progress& progress);

} // namespace espalier
