// SPDX-License-Identifier: MIT
//
// A commit object taken apart, byte for byte: what is not understood is kept.
//
//     Result<Commit> commit = readCommit(store, id);
//     commit->author.name; subjectOf(commit->message);
#pragma once

#include "core/git/objects.h"

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace espalier {

// A name, an address and a moment, as a commit carries them.
struct Person {
    std::string name;
    std::string email;
    std::int64_t when = 0; // seconds since 1970, UTC
    int offsetMinutes = 0; // of the clock that wrote it, east of UTC
    friend bool operator==(const Person&, const Person&) = default;
};

struct Commit {
    Oid id;
    Oid tree;
    std::vector<Oid> parents;
    Person author; // names in UTF-8 as far as `encoding` can be read
    Person committer;
    std::string authorLine;    // "author …" value as stored, so that a rewrite keeps it to the byte
    std::string committerLine; // the same of the committer; of no effect once `committer` is another
    std::string message;       // bytes in encoding()
    bool isSigned = false;     // has a gpgsig header
    std::vector<std::pair<std::string, std::string>> otherHeaders; // in order, e.g. mergetag; values unfolded

    // Of the message and of the stored lines of author and committer, all at once; empty means UTF-8.
    const std::string& encoding() const { return m_encoding; }
    std::string subject() const;     // see subjectOf(); in UTF-8
    std::string messageUtf8() const; // converted when encoding() says so and is known, else as it is
    // Puts message, author and committer into UTF-8 together and drops the encoding, as git does with a commit that it writes
    // anew. What cannot be converted keeps its UTF-8, and other bytes count as Latin-1 (git's commit.c, verify_utf8; common
    // practice). A commit without an encoding stays as it is.
    void toUtf8();

  private:
    friend Result<Commit> parseCommit(const Oid& id, std::string_view bytes);
    friend std::string formatCommit(const Commit& commit);
    std::string m_encoding;
    std::size_t m_encodingAt = 0; // how many of otherHeaders stand before it
};

// With the parents that git gives it, which shallow clones and info/grafts make others than the object's (see overrides.h).
// Errors: Broken (`on` is the id) for a missing or malformed commit.
Result<Commit> readCommit(ObjectStore& store, const Oid& id);
// Its tree alone, without a look at the rest; of a zero id, nothing, the zero id, which stands for the empty tree where trees are
// compared.
Result<Oid> treeOf(ObjectStore& store, const Oid& commit);
Result<Commit> parseCommit(const Oid& id, std::string_view bytes);

// The bytes of a commit object; of a parsed one that was not changed, the very bytes it was parsed from as long as its
// headers stand in git's order. `author` is taken from authorLine when that is not empty.
std::string formatCommit(const Commit& commit);
std::string formatPerson(const Person& person);

// The moment that GIT_COMMITTER_DATE gives to new commits, in any of git's forms, which git itself is asked to read; only
// `when` and `offsetMinutes` are filled. Nothing when it is not set. Errors: Usage when it is no date.
Result<std::optional<Person>> givenCommitterDate(const Repository& repository);

} // namespace espalier
