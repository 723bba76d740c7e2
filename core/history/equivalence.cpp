// SPDX-License-Identifier: MIT
#include "core/history/equivalence.h"

#include "core/git/handles.h"
#include "core/history/commit_headers.h"
#include "core/history/patch_id.h"
#include "core/history/tree_changes.h"

#include <mutex>
#include <unordered_map>
#include <unordered_set>

namespace espalier {

struct EquivalenceCache::Data {
    std::mutex lock;
    std::unordered_map<Oid, std::optional<Oid>> changeIds;
    // Which paths a commit changes, as one number. A commit that was given up halfway has none the first time; when it is
    // asked for again the whole is worth keeping.
    struct Outline {
        bool known = false;
        std::uint64_t key = 0;
    };
    std::unordered_map<Oid, Outline> outlines;
};

EquivalenceCache::EquivalenceCache() : m_data(std::make_unique<Data>()) {}
EquivalenceCache::~EquivalenceCache() = default;

namespace {

constexpr std::uint64_t noOutline = 0; // a merge, or a commit that changes nothing

struct Step {
    Oid oldTree, newTree; // zero oldTree: a root
    bool merge = false;  // or anything else that has no change of its own
};

Result<Oid> treeOf(ObjectStore& store, const Oid& commit, std::vector<Oid>& parents)
{
    const auto object = store.read(commit, ObjectType::Commit);
    if (!object)
        return std::unexpected(object.error());
    std::int64_t time = 0;
    const std::string_view bytes = object->view();
    const auto tree = bytes.starts_with("tree ") ? Oid::parse(bytes.substr(5, 40)) : std::nullopt;
    if (!tree || !parseHeader(bytes, parents, time))
        return fail(ErrorKind::Broken, "A commit is damaged", commit.hex(), "Run git fsck in the repository");
    return *tree;
}

Result<Step> stepOf(ObjectStore& store, const Oid& commit)
{
    Step step;
    std::vector<Oid> parents, ignored;
    const auto tree = treeOf(store, commit, parents);
    if (!tree)
        return std::unexpected(tree.error());
    step.newTree = *tree;
    step.merge = parents.size() > 1;
    if (parents.size() == 1) {
        const auto below = treeOf(store, parents[0], ignored);
        if (!below && !store.contains(parents[0])) {
            step.merge = true; // the parent was left behind by a shallow clone: no change to speak of
            return step;
        }
        if (!below)
            return std::unexpected(below.error());
        step.oldTree = *below;
    }
    return step;
}

char kindOf(FileMode mode)
{
    return mode == FileMode::Symlink ? 'l' : mode == FileMode::Submodule ? 's' : 'f';
}

// What two equal changes have in common whatever the contents: paths, what comes and goes, modes that change.
std::uint64_t outlineOf(const std::vector<PathChange>& changes)
{
    if (changes.empty())
        return noOutline;
    Sha1 sum;
    for (const PathChange& change : changes) {
        sum.add(change.path);
        std::uint32_t modes[2] = {std::uint32_t(change.oldMode), std::uint32_t(change.newMode)};
        if (change.oldMode == change.newMode)
            modes[0] = modes[1] = 0; // git's patch ids leave an unchanged mode out
        sum.add({reinterpret_cast<const char*>(modes), sizeof modes});
        sum.add({"\0", 1});
    }
    const Oid id = sum.finish();
    std::uint64_t key;
    std::memcpy(&key, id.bytes.data(), sizeof key);
    return key | 1;
}

bool looksBinary(std::string_view bytes) { return bytes.substr(0, 8000).find('\0') != bytes.npos; }

Result<std::string> contentOf(ObjectStore& store, const Oid& id, FileMode mode)
{
    if (mode == FileMode::None)
        return std::string();
    if (mode == FileMode::Submodule)
        return "Subproject commit " + id.hex() + "\n";
    auto object = store.read(id, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    return std::string(object->view());
}

int addLine(const git_diff_delta*, const git_diff_hunk*, const git_diff_line* line, void* sum)
{
    if (line->origin == GIT_DIFF_LINE_CONTEXT || line->origin == GIT_DIFF_LINE_ADDITION ||
        line->origin == GIT_DIFF_LINE_DELETION)
        static_cast<PatchIdSum*>(sum)->hunkLine(line->origin, {line->content, line->content_len});
    return 0;
}

std::string modeText(FileMode mode)
{
    std::string text(6, '0');
    for (std::uint32_t i = 0, rest = std::uint32_t(mode); i < 6; ++i, rest >>= 3)
        text[5 - i] = char('0' + (rest & 7));
    return text;
}

// One file of the patch; both modes are of one kind, or one side is not there.
Result<void> addFile(ObjectStore& store, const PathChange& change, PatchIdSum& sum)
{
    const std::string oldName = quotedPath("a/", change.path), newName = quotedPath("b/", change.path);
    const bool added = change.oldMode == FileMode::None, deleted = change.newMode == FileMode::None;
    sum.beginFile("diff --git " + oldName + " " + newName);
    if (added) {
        sum.headerLine("new file mode " + modeText(change.newMode));
    } else if (deleted) {
        sum.headerLine("deleted file mode " + modeText(change.oldMode));
    } else if (change.oldMode != change.newMode) {
        sum.headerLine("old mode " + modeText(change.oldMode));
        sum.headerLine("new mode " + modeText(change.newMode));
    }
    if (change.oldId == change.newId)
        return {};
    const auto before = contentOf(store, change.oldId, change.oldMode);
    const auto after = contentOf(store, change.newId, change.newMode);
    if (!before)
        return std::unexpected(before.error());
    if (!after)
        return std::unexpected(after.error());
    if (looksBinary(*before) || looksBinary(*after)) {
        sum.binary(change.oldId.hex(), change.newId.hex());
        return {};
    }
    if (before->empty() && after->empty())
        return {};
    sum.headerLine("--- " + (added ? "/dev/null" : oldName));
    sum.headerLine("+++ " + (deleted ? "/dev/null" : newName));
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.flags = GIT_DIFF_FORCE_TEXT | GIT_DIFF_INDENT_HEURISTIC;
    options.context_lines = 3;
    if (git_diff_buffers(before->data(), before->size(), nullptr, after->data(), after->size(), nullptr, &options,
                         nullptr, nullptr, nullptr, addLine, &sum) < 0)
        return libgitError("A change cannot be compared", change.newId.hex());
    return {};
}

Result<std::optional<Oid>> changeIdFrom(ObjectStore& store, const std::vector<PathChange>& changes,
                                        const Progress& progress)
{
    if (changes.empty())
        return std::nullopt;
    PatchIdSum sum;
    for (const PathChange& change : changes) {
        if (progress.stopped())
            return cancelled();
        const bool bothThere = change.oldMode != FileMode::None && change.newMode != FileMode::None;
        if (bothThere && kindOf(change.oldMode) != kindOf(change.newMode)) {
            // git shows a file that becomes a link (or the like) as deleted and added.
            const PathChange gone{change.path, change.oldMode, FileMode::None, change.oldId, {}};
            const PathChange come{change.path, FileMode::None, change.newMode, {}, change.newId};
            for (const PathChange& half : {gone, come})
                if (auto done = addFile(store, half, sum); !done)
                    return std::unexpected(done.error());
        } else if (auto done = addFile(store, change, sum); !done) {
            return std::unexpected(done.error());
        }
    }
    return sum.finish();
}

// Outlines of commits; those that cannot have one of the wanted outlines are given up as early as possible.
class Outlines {
  public:
    Outlines(ObjectStore& store, EquivalenceCache::Data& cache) : m_store(store), m_cache(cache) {}

    // Every path and folder that `changes` touch becomes one that a commit of interest may touch.
    std::uint64_t want(const std::vector<PathChange>& changes)
    {
        for (const PathChange& change : changes)
            for (std::size_t end = change.path.find('/');; end = change.path.find('/', end + 1)) {
                m_paths.insert(change.path.substr(0, end));
                if (end == change.path.npos)
                    break;
            }
        return outlineOf(changes);
    }

    // The outline in full.
    Result<std::vector<PathChange>> changesOfCommit(const Oid& commit)
    {
        const auto step = stepOf(m_store, commit);
        if (!step)
            return std::unexpected(step.error());
        if (step->merge)
            return std::vector<PathChange>();
        auto changes = treeChanges(m_store, step->oldTree, step->newTree);
        if (!changes)
            return std::unexpected(changes.error());
        return std::move(**changes);
    }

    // noOutline also for commits that touch anything but the wanted paths.
    Result<std::uint64_t> outlineIfWanted(const Oid& commit)
    {
        bool again = false;
        {
            const std::scoped_lock locked(m_cache.lock);
            const auto [at, isNew] = m_cache.outlines.try_emplace(commit);
            if (at->second.known)
                return at->second.key;
            again = !isNew;
        }
        const auto step = stepOf(m_store, commit);
        if (!step)
            return std::unexpected(step.error());
        std::uint64_t key = noOutline;
        if (!step->merge) {
            std::function<bool(const std::string&)> wanted;
            if (!again)
                wanted = [this](const std::string& path) { return m_paths.contains(path); };
            const auto changes = treeChanges(m_store, step->oldTree, step->newTree, wanted);
            if (!changes)
                return std::unexpected(changes.error());
            if (!*changes)
                return noOutline;
            key = outlineOf(**changes);
        }
        const std::scoped_lock locked(m_cache.lock);
        m_cache.outlines[commit] = {true, key};
        return key;
    }

  private:
    ObjectStore& m_store;
    EquivalenceCache::Data& m_cache;
    std::unordered_set<std::string> m_paths;
};

} // namespace

Result<std::optional<Oid>> changeId(ObjectStore& store, const Oid& oldTree, const Oid& newTree, const Progress& progress)
{
    const auto changes = treeChanges(store, oldTree, newTree);
    if (!changes)
        return std::unexpected(changes.error());
    return changeIdFrom(store, **changes, progress);
}

Result<std::optional<Oid>> changeIdOf(ObjectStore& store, const Oid& commit, EquivalenceCache& cache,
                                      const Progress& progress)
{
    EquivalenceCache::Data& data = cache.data();
    {
        const std::scoped_lock locked(data.lock);
        if (const auto known = data.changeIds.find(commit); known != data.changeIds.end())
            return known->second;
    }
    const auto step = stepOf(store, commit);
    if (!step)
        return std::unexpected(step.error());
    std::optional<Oid> id;
    if (!step->merge) {
        auto made = changeId(store, step->oldTree, step->newTree, progress);
        if (!made)
            return made;
        id = *made;
    }
    const std::scoped_lock locked(data.lock);
    data.changeIds.insert_or_assign(commit, id);
    return id;
}

Result<std::vector<std::pair<Oid, Oid>>> equalCommits(ObjectStore& store, std::span<const Oid> mine,
                                                      std::span<const Oid> others, EquivalenceCache& cache,
                                                      const Progress& progress)
{
    std::vector<std::pair<Oid, Oid>> pairs;
    if (mine.empty() || others.empty())
        return pairs;
    Outlines outlines(store, cache.data());
    std::vector<std::uint64_t> outlineOfMine;
    std::unordered_map<std::uint64_t, std::vector<Oid>> candidates; // outline, those of the others that have it
    for (const Oid& commit : mine) {
        const auto changes = outlines.changesOfCommit(commit);
        if (!changes)
            return std::unexpected(changes.error());
        outlineOfMine.push_back(outlines.want(*changes));
        if (outlineOfMine.back() != noOutline)
            candidates.try_emplace(outlineOfMine.back());
    }
    std::size_t looked = 0;
    for (const Oid& other : others) {
        if (++looked % 256 == 0) {
            if (progress.stopped())
                return cancelled();
            progress.report("Comparing changes", looked, others.size());
        }
        const auto outline = outlines.outlineIfWanted(other);
        if (!outline)
            return std::unexpected(outline.error());
        if (*outline != noOutline)
            if (const auto at = candidates.find(*outline); at != candidates.end())
                at->second.push_back(other);
    }
    for (std::size_t i = 0; i < mine.size(); ++i) {
        if (outlineOfMine[i] == noOutline)
            continue;
        const auto& possible = candidates[outlineOfMine[i]];
        if (possible.empty())
            continue;
        const auto own = changeIdOf(store, mine[i], cache, progress);
        if (!own)
            return std::unexpected(own.error());
        for (const Oid& other : possible) {
            const auto id = changeIdOf(store, other, cache, progress);
            if (!id)
                return std::unexpected(id.error());
            if (*own && *own == *id) {
                pairs.emplace_back(mine[i], other);
                break;
            }
        }
    }
    return pairs;
}

Result<std::optional<Oid>> squashedAs(ObjectStore& store, const Oid& baseTree, const Oid& tipTree,
                                      std::span<const Oid> others, EquivalenceCache& cache, const Progress& progress)
{
    const auto changes = treeChanges(store, baseTree, tipTree);
    if (!changes)
        return std::unexpected(changes.error());
    Outlines outlines(store, cache.data());
    const std::uint64_t wanted = outlines.want(**changes);
    if (wanted == noOutline)
        return std::nullopt;
    std::optional<Oid> combined;
    for (const Oid& other : others) {
        if (progress.stopped())
            return cancelled();
        const auto outline = outlines.outlineIfWanted(other);
        if (!outline)
            return std::unexpected(outline.error());
        if (*outline != wanted)
            continue;
        if (!combined) {
            auto made = changeIdFrom(store, **changes, progress);
            if (!made)
                return made;
            combined = *made;
        }
        const auto id = changeIdOf(store, other, cache, progress);
        if (!id)
            return id;
        if (*id && *id == combined)
            return other;
    }
    return std::nullopt;
}

} // namespace espalier
