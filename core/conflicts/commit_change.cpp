// SPDX-License-Identifier: MIT
#include "core/conflicts/commit_change.h"

#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/merge/text_merge.h"
#include "core/tree/differences.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr int around = 3;               // lines
constexpr std::size_t mostRows = 2'000; // of a change: further down nobody reads here

std::string withoutEnd(std::string_view line)
{
    for (const char end : {'\n', '\r'})
        if (line.ends_with(end))
            line.remove_suffix(1);
    return std::string(line);
}

std::vector<ChangeRow> rowsOf(std::string_view before, std::string_view after)
{
    const std::vector<ChangedLine> lines = changeOf(before, after);
    std::vector<char> shown(lines.size(), 0);
    for (std::size_t i = 0; i < lines.size(); ++i)
        if (lines[i].kind != ChangedLine::Same) {
            const std::size_t from = i < std::size_t(around) ? 0 : i - around;
            std::fill(shown.begin() + std::ptrdiff_t(from),
                      shown.begin() + std::ptrdiff_t(std::min(lines.size(), i + around + 1)), char(1));
        }
    LineReader old(before), now(after);
    std::vector<ChangeRow> rows;
    for (std::size_t i = 0; i < lines.size() && rows.size() < mostRows; ++i) {
        if (!shown[i])
            continue;
        if (!rows.empty() && !shown[i - 1])
            rows.push_back({ChangedLine::Same, {}, 0, true});
        const ChangedLine& line = lines[i];
        LineReader& reader = line.kind == ChangedLine::Removed ? old : now;
        rows.push_back({line.kind, withoutEnd(reader.read({line.line, 1})), line.line + 1, false});
    }
    return rows;
}

// The file that is asked for, as the commit has changed it.
struct Changed {
    PathChange change;
    std::string earlierPath;
};
std::optional<Changed> changedOf(const std::vector<PathChange>& all, const std::vector<std::string>& paths)
{
    const auto find = [&](const std::string& path) { return std::ranges::find(all, path, &PathChange::path); };
    for (const std::string& path : paths) {
        const auto at = find(path);
        if (at == all.end())
            continue;
        if (!at->before.exists())
            for (const std::string& other : paths)
                if (const auto was = find(other); was != all.end() && was->before.exists() && !was->after.exists())
                    return Changed{{path, was->before, at->after}, other};
        return Changed{*at, {}};
    }
    return std::nullopt;
}

} // namespace

Result<CommitChange> commitChange(ObjectStore& store, const Oid& id, const std::vector<std::string>& paths,
                                  const Progress& progress)
{
    const auto commit = readCommit(store, id);
    if (!commit)
        return std::unexpected(commit.error());
    Oid before;
    if (!commit->parents.empty()) {
        const auto parent = readCommit(store, commit->parents.front());
        if (!parent)
            return std::unexpected(parent.error());
        before = parent->tree;
    }
    const auto changes =
        treeChanges(StoreTrees{store}, before, commit->tree, [&](const std::string&) { return !progress.stopped(); });
    if (!changes)
        return std::unexpected(changes.error());
    if (!*changes)
        return cancelled();
    CommitChange found;
    const auto changed = changedOf(**changes, paths);
    if (!changed) {
        found.otherFiles = (*changes)->size();
        found.words = "It does not change this file against its first parent";
        return found;
    }
    found.path = changed->change.path;
    found.earlierPath = changed->earlierPath;
    found.otherFiles = (*changes)->size() - (changed->earlierPath.empty() ? 1 : 2);
    std::string texts[2];
    int side = 0;
    for (const PathEntry* entry : {&changed->change.before, &changed->change.after}) {
        std::string& text = texts[side++];
        if (!isRegularFile(entry->mode))
            continue;
        const auto blob = store.read(entry->id, ObjectType::Blob);
        if (!blob)
            return std::unexpected(blob.error());
        text = *blob->bytes;
        if (isBinary(text)) {
            found.words = "It changes this file, which is no text";
            return found;
        }
    }
    found.rows = rowsOf(texts[0], texts[1]);
    if (found.rows.empty())
        found.words = "It changes the mode of this file, not its lines";
    return found;
}

} // namespace espalier
