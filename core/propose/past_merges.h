// SPDX-License-Identifier: MIT
//
// The repository's own past merges as a record: those that a commit reaches, and nothing else, are looked at for conflicts that they
// have settled.
//
//     PastMerges past(repository);
//     auto record = past.recordFor(onto, progress);          // of what `onto` reaches
//     guessFor({*record}, file, hunk);
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"
#include "core/propose/mined_store.h"

#include <functional>
#include <memory>
#include <optional>

namespace espalier {

// Where a settled text stands.
struct SettledText {
    Oid blob;
    LineRange lines;
};

// One thread only.
class PastMerges {
  public:
    // The newest merges that are looked at for one commit, and how many hunks of one merge count.
    static constexpr std::size_t mostMerges = 6'000, mostHunks = 200;

    // `repository` must outlive it.
    explicit PastMerges(const Repository& repository);
    ~PastMerges();
    PastMerges(const PastMerges&) = delete;
    PastMerges& operator=(const PastMerges&) = delete;

    // Files for which this says yes are left out: somebody else holds that evidence.
    void leaveOut(std::function<bool(const MinedFile& file)> held);

    // The record of what `onto` reaches; valid until the next call. What no run has looked at is looked at now, which costs
    // about a merge of trees each, and kept on disk. Errors: Broken, Cancelled (what was found by then is kept).
    Result<const Record*> recordFor(const Oid& onto, const Progress& progress = {});
    // What was settled for hunks of these texts (HunkFacts::exact), by the record of the last call. Nothing: it is not known.
    std::optional<SettledText> settledText(std::uint64_t exact) const;
    // Who made the commit, as the record names them (FileFacts::who); 0 when it cannot be read.
    std::uint64_t whoOf(const Oid& commit);

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

std::uint64_t mergeName(const Oid& onto); // FileFacts::merge of what stands on it

} // namespace espalier
