// SPDX-License-Identifier: MIT
//
// What was settled in this repository before, asked whether it answers a hunk that is met now: the same three texts, also
// with the sides exchanged, with other white space, or with more or fewer lines around them. It only ever offers; and where
// what is remembered does not say one thing without doubt, it says nothing.
//
//     const Memory memory = readMemory(repository, now);
//     if (const auto found = memory.recall({ancestor, newBase, commit}))
//         found->decision; found->before.when;
#pragma once

#include "core/git/oid.h"
#include "core/settle/settlements.h"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace espalier {

// The three sides of a hunk, bytes with line ends.
struct HunkSides {
    std::string_view ancestor, newBase, commit;
};

// A hunk that was settled, with when and where. `sides` are none where they were too large to be kept, and in files of an
// older form: then only the very same texts are known again, by their name.
struct SettledBefore {
    Oid name; // textsOfHunk of its sides
    struct Sides {
        std::string ancestor, newBase, commit;
        friend bool operator==(const Sides&, const Sides&) = default;
    };
    std::optional<Sides> sides;
    HunkDecision decision;
    std::string path, branch; // of the file; as people know the branch
    Oid commit;               // zero where it was not noted
    std::string subject;
    std::int64_t when = 0; // seconds since 1970
    friend bool operator==(const SettledBefore&, const SettledBefore&) = default;
};

enum class Likeness : std::uint8_t {
    Same,
    Swapped,      // the sides stood the other way round
    Spaces,       // white space differed
    Surroundings, // there were more or fewer lines around what both changed
};

struct Recalled {
    HunkDecision decision; // for the hunk that was asked about
    Likeness likeness = Likeness::Same;
    SettledBefore before; // without its sides
};

class Memory {
  public:
    Memory() = default;
    // Of two with the same name the later one in the list counts.
    explicit Memory(std::vector<SettledBefore> settled);

    // The closest likeness wins, of one likeness the newest. Nothing: it was not settled before, or what was remembered
    // says different things.
    std::optional<Recalled> recall(const HunkSides& hunk) const;
    std::size_t size() const { return m_settled.size(); }

  private:
    std::optional<Recalled> byName(const HunkSides& hunk) const;
    std::optional<Recalled> bySpaces(const HunkSides& hunk) const;
    std::optional<Recalled> bySurroundings(const HunkSides& hunk) const;
    Recalled recalled(std::size_t index, Likeness likeness, HunkDecision decision) const;

    std::vector<SettledBefore> m_settled; // newest first
    std::unordered_map<Oid, std::size_t> m_byName;
    std::unordered_map<std::string, std::vector<std::size_t>> m_bySpaces;
    std::unordered_map<std::string, std::vector<std::size_t>> m_byLine; // lines of the two sides that say something
};

} // namespace espalier
