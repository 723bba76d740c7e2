// SPDX-License-Identifier: MIT
//
// Which paths a commit changes, as one number, its outline: two commits whose outlines differ are not the same change, and
// so most commits are never read in full. Kept by commit for all questions about one repository. Private to core/history.
//
// Most commits are given up at the first path that the question is not about. They are remembered by that path, and read
// in full once somebody asks about it; where many questions are to come all are read in full at once. What a question costs is then what it is about and not how far a branch is behind.
#pragma once

#include "core/history/equivalence.h"
#include "core/history/outline_store.h"
#include "core/history/quick_objects.h"
#include "core/tree/differences.h"

#include <mutex>
#include <span>
#include <unordered_map>
#include <unordered_set>
#include <vector>

namespace espalier {

// Of a merge, of a commit that changes nothing, and of a root below a shallow boundary.
inline constexpr std::uint64_t noOutline = 0;

// The trees between which a commit changes something.
struct Step {
    Oid oldTree, newTree; // zero oldTree: a root
    bool merge = false;   // or anything else that has no change of its own
};
Result<Step> stepOf(QuickObjects& objects, const Oid& commit);

// May be shared by threads (it locks).
class OutlineTable {
  public:
    OutlineTable() = default;
    OutlineTable(const OutlineTable&) = delete;
    OutlineTable& operator=(const OutlineTable&) = delete;

    // What is known in full; nothing when less than `least` of it is new since add() or the last time that it was given.
    std::vector<KeptOutline> worthKeeping(std::size_t least);
    void add(std::span<const KeptOutline> outlines);

  private:
    friend class Outlines;
    struct Outline {
        std::uint64_t value = noOutline; // or the path that ruled it out, hashed
        bool ruledOut = false;
    };
    std::mutex m_lock;
    std::mutex m_reading; // one question reads what all will ask for, with all cores; the others wait for that
    std::size_t m_kept = 0, m_full = 0; // of the known: kept already; in full
    std::unordered_map<Oid, Outline> m_known;
    std::unordered_map<std::uint64_t, std::vector<Oid>> m_having, m_ruledOutBy;
    // Commits that are all known: the last ones asked about, for questions about the same line of history that follow.
    std::vector<Oid> m_covered;
};

// One question.
class Outlines {
  public:
    Outlines(QuickObjects& objects, std::shared_ptr<const QuickFiles> files, OutlineTable& table,
             const EquivalenceHabits& habits)
        : m_objects(objects), m_files(std::move(files)), m_table(table), m_habits(habits)
    {
    }

    // The question is also about a change like this one, whose outline is returned.
    std::uint64_t want(const std::vector<PathChange>& changes);
    // Afterwards having() can tell for each of these commits whether it has a wanted outline.
    Result<void> read(std::span<const Oid> commits, const Progress& progress);
    // Those of `commits`, read before, that have a wanted outline; in their order.
    std::vector<Oid> having(std::uint64_t outline, std::span<const Oid> commits) const;

  private:
    struct Unread {
        Oid commit;
        bool inFull = false;
    };
    std::vector<Unread> unreadOf(std::span<const Oid> commits) const;
    Result<void> readPart(QuickObjects& objects, std::span<const Unread> commits,
                          std::span<OutlineTable::Outline> outlines, const Progress& progress, bool reports) const;
    Result<OutlineTable::Outline> outlineOf(QuickObjects& objects, const Unread& unread) const;
    void keep(std::span<const Unread> commits, std::span<const OutlineTable::Outline> outlines);

    QuickObjects& m_objects;
    std::shared_ptr<const QuickFiles> m_files;
    OutlineTable& m_table;
    EquivalenceHabits m_habits;
    std::unordered_set<std::uint64_t> m_paths; // hashed; folders too
};

} // namespace espalier
