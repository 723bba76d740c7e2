// SPDX-License-Identifier: MIT
//
// Proposals for the hunks of a conflicting file, each with its reason in a sentence: what was settled before in this repository
// and in this session says which text is right. Never applied by itself; without a record there is none.
//
//     Proposer proposer(repository);
//     auto hunks = proposer.propose({"doc/tides.md", ancestor, newBase, commit, onto});
//     hunks->hunks[0].proposal->text; hunks->hunks[0].proposal->reason;
//     proposer.settled(blob);                 // what the user made of the file asked about last
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"
#include "core/merge/text_merge.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct Proposal {
    std::string kind;      // "new-base", "both-words", …: see candidateKindName
    std::string text;      // bytes for the hunk's place, line ends included
    std::string reason;    // one line for people, safe to show
    double confidence = 0; // between 0 and 1
};

struct ProposedHunk {
    LineRange ancestor, newBase, commit; // lines of each side
    std::optional<Proposal> proposal;
};

struct ProposedFile {
    std::vector<ProposedHunk> hunks;
    std::vector<std::string> between; // merged text before, between and after the hunks; empty without hunks
};

struct ProposalQuestion {
    std::string path;
    Oid ancestor, newBase, commit; // blobs; the ancestor may be zero
    // What stands below the hunks. Only its history is looked at; without it only the session's record speaks.
    std::optional<Oid> onto;
};

// The same for texts that are no blobs of the repository, as in the midst of a replay.
struct ProposalTexts {
    std::string path;
    std::string ancestor, newBase, commit;
    std::optional<Oid> onto;
};
// A file of the session with what stands in the place of each of its hunks; nothing for those that are not settled yet.
struct SessionFile {
    ProposalTexts texts;
    std::vector<std::optional<std::string>> settled;
};

// One thread only.
class Proposer {
  public:
    // `repository` must outlive it.
    explicit Proposer(const Repository& repository);
    ~Proposer();
    Proposer(const Proposer&) = delete;
    Proposer& operator=(const Proposer&) = delete;

    // The first question about a history looks through its past merges (see past_merges.h), which can take a while.
    // Errors: Broken (an object is missing or no blob, or a commit of the history cannot be read), Cancelled.
    Result<ProposedFile> propose(const ProposalQuestion& question, const Progress& progress = {});
    Result<ProposedFile> propose(const ProposalTexts& question, const Progress& progress = {});
    // The blob that the user settled the file on that was asked about last: from now on part of the session's record. Errors:
    // Broken.
    Result<void> settled(const Oid& blob);
    // The session's record anew: these files and nothing else. For whoever can take a decision back. Errors: as propose().
    Result<void> setSession(const std::vector<SessionFile>& files, const Progress& progress = {});

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

} // namespace espalier
