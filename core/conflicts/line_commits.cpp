// SPDX-License-Identifier: MIT
#include "core/conflicts/line_commits.h"

#include "core/git/commit.h"
#include "core/merge/line_diff.h"
#include "core/tree/lookup.h"

#include <algorithm>
#include <map>
#include <unordered_map>
#include <unordered_set>

namespace espalier {

namespace {

using Ranges = std::vector<LineRange>; // in order, apart from each other

// The file in one commit, and the lines of it that each question is about.
struct Asked {
    std::string path;
    PathEntry entry;
    std::vector<Ranges> ranges; // one list a question
};

bool touches(const LineChange& change, const LineRange& range)
{
    if (range.count == 0)
        return change.bCount == 0 ? change.b == range.first
                                  : change.b < range.first && range.first < change.b + change.bCount;
    if (change.bCount == 0)
        return range.first <= change.b && change.b <= range.end();
    return change.b < range.end() && range.first < change.b + change.bCount;
}

LinesBefore mapped(const std::vector<LineChange>& changes, const LineRange& range)
{
    int first = range.first, end = range.end(), grown = 0;
    bool touched = false;
    for (const LineChange& change : changes) {
        if (touches(change, range)) {
            if (!touched)
                first = change.b <= range.first ? change.a : range.first + grown;
            touched = true;
            grown += change.aCount - change.bCount;
            end = change.b + change.bCount >= range.end() ? change.a + change.aCount : range.end() + grown;
            continue;
        }
        if (change.b + change.bCount > range.first)
            break; // behind it
        grown += change.aCount - change.bCount;
        first = range.first + grown;
        end = range.end() + grown;
    }
    if (touched)
        return {{first, std::max(0, end - first)}, true};
    return {{first, range.count}, false};
}

std::vector<LineChange> changesBetween(std::string_view before, std::string_view now)
{
    LineTable lines;
    const Lines old = lines.add(before), fresh = lines.add(now, &old);
    return diffLines(old.ids, fresh.ids, LineDiff::Myers);
}

void unite(Ranges& into, const Ranges& more)
{
    into.insert(into.end(), more.begin(), more.end());
    std::ranges::sort(into, {}, &LineRange::first);
    Ranges joined;
    for (const LineRange& range : into) {
        if (!joined.empty() && range.first <= joined.back().end())
            joined.back().count = std::max(joined.back().end(), range.end()) - joined.back().first;
        else
            joined.push_back(range);
    }
    into = std::move(joined);
}

class Walk {
  public:
    Walk(ObjectStore& store, CommitTable& table, const LineHistory& asked, const Progress& progress)
        : m_store(store)
        , m_table(table)
        , m_asked(asked)
        , m_progress(progress)
        , m_named(asked.commits.begin(), asked.commits.end())
        , m_found(asked.lines.size())
    {
    }

    Result<std::vector<std::vector<Oid>>> run()
    {
        const auto order = m_table.topologicalOrder(m_store, m_asked.tip, m_asked.commits);
        if (!order)
            return std::unexpected(order.error());
        const auto start = entryOf(m_asked.tip, m_asked.path);
        if (!start)
            return std::unexpected(start.error());
        Asked first{m_asked.path, *start, {}};
        for (const LineRange& range : m_asked.lines)
            first.ranges.push_back({range});
        if (start->exists())
            m_waiting.emplace(m_asked.tip, std::move(first));
        for (std::size_t i = 0; i < order->size() && !m_waiting.empty(); ++i) {
            if (m_progress.stopped())
                return cancelled();
            const auto at = m_waiting.find((*order)[i]);
            if (at == m_waiting.end())
                continue;
            const Asked asked = std::move(at->second);
            m_waiting.erase(at);
            if (auto done = visit((*order)[i], asked); !done)
                return std::unexpected(done.error());
        }
        return std::move(m_found);
    }

  private:
    Result<PathEntry> entryOf(const Oid& id, const std::string& path)
    {
        const auto commit = readCommit(m_store, id);
        if (!commit)
            return std::unexpected(commit.error());
        return fileAt(m_store, commit->tree, path);
    }

    // The file in a parent: under its name, else under its earlier one.
    Result<Asked> inParent(const Oid& parent, const Asked& child)
    {
        Asked asked{child.path, {}, {}};
        auto entry = entryOf(parent, child.path);
        if (entry && !entry->exists() && !m_asked.earlierPath.empty() && child.path != m_asked.earlierPath) {
            asked.path = m_asked.earlierPath;
            entry = entryOf(parent, asked.path);
        }
        if (!entry)
            return std::unexpected(entry.error());
        asked.entry = *entry;
        return asked;
    }

    Result<void> visit(const Oid& id, const Asked& asked)
    {
        const auto parents = m_table.parents(m_store, id);
        if (!parents)
            return std::unexpected(parents.error());
        std::vector<Asked> below;
        for (const Oid& parent : *parents) {
            auto there = inParent(parent, asked);
            if (!there)
                return std::unexpected(there.error());
            if (there->entry == asked.entry) {
                there->ranges = asked.ranges;
                wait(parent, std::move(*there));
                return {};
            }
            below.push_back(std::move(*there));
        }
        return compare(id, *parents, std::move(below), asked);
    }

    // Each question follows the one parent that has the same lines; where there is none, the commit changed them.
    Result<void> compare(const Oid& id, const std::vector<Oid>& parents, std::vector<Asked> below, const Asked& asked)
    {
        const auto mine = textOf(asked.entry);
        if (!mine)
            return std::unexpected(mine.error());
        std::vector<std::vector<LineChange>> changes;
        for (Asked& parent : below) {
            parent.ranges.resize(asked.ranges.size());
            const auto text = textOf(parent.entry);
            if (!text)
                return std::unexpected(text.error());
            changes.push_back(changesBetween(*text, *mine));
        }
        for (std::size_t question = 0; question < asked.ranges.size(); ++question) {
            std::vector<Ranges> there(below.size());
            std::size_t same = below.size();
            for (std::size_t i = 0; i < below.size() && same == below.size(); ++i)
                if (!mapBack(changes[i], asked.ranges[question], there[i]))
                    same = i;
            if (asked.ranges[question].empty())
                continue;
            if (same < below.size()) {
                below[same].ranges[question] = std::move(there[same]);
                continue;
            }
            m_found[question].push_back(id);
            for (std::size_t i = 0; i < below.size(); ++i)
                below[i].ranges[question] = std::move(there[i]);
        }
        for (std::size_t i = 0; i < below.size(); ++i)
            if (below[i].entry.exists())
                wait(parents[i], std::move(below[i]));
        return {};
    }

    static bool mapBack(const std::vector<LineChange>& changes, const Ranges& ranges, Ranges& old)
    {
        bool touched = false;
        Ranges all;
        for (const LineRange& range : ranges) {
            const auto [lines, changed] = mapped(changes, range);
            all.push_back(lines);
            touched = touched || changed;
        }
        unite(old, all);
        return touched;
    }

    void wait(const Oid& parent, Asked asked)
    {
        if (!m_named.contains(parent) || std::ranges::all_of(asked.ranges, &Ranges::empty))
            return;
        const auto [at, fresh] = m_waiting.try_emplace(parent, asked);
        if (fresh)
            return;
        for (std::size_t i = 0; i < asked.ranges.size(); ++i)
            unite(at->second.ranges[i], asked.ranges[i]);
    }

    // Nothing for what has no lines: an absent file, a link, a submodule, bytes that are no text.
    Result<std::string> textOf(const PathEntry& entry)
    {
        if (entry.mode != FileMode::File && entry.mode != FileMode::Executable)
            return std::string();
        const auto blob = m_store.read(entry.id, ObjectType::Blob);
        if (!blob)
            return std::unexpected(blob.error());
        return isBinary(blob->view()) ? std::string() : std::string(blob->view());
    }

    ObjectStore& m_store;
    CommitTable& m_table;
    const LineHistory& m_asked;
    const Progress& m_progress;
    std::unordered_set<Oid> m_named;
    std::unordered_map<Oid, Asked> m_waiting;
    std::vector<std::vector<Oid>> m_found;
};

} // namespace

std::vector<LinesBefore> linesBefore(std::string_view before, std::string_view now, const std::vector<LineRange>& lines)
{
    const std::vector<LineChange> changes = changesBetween(before, now);
    std::vector<LinesBefore> all;
    all.reserve(lines.size());
    for (const LineRange& range : lines)
        all.push_back(mapped(changes, range));
    return all;
}

Result<std::vector<std::vector<Oid>>> commitsThatChanged(ObjectStore& store, CommitTable& table,
                                                         const LineHistory& asked, const Progress& progress)
{
    return Walk(store, table, asked, progress).run();
}

} // namespace espalier
