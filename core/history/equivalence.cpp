// SPDX-License-Identifier: MIT
#include "core/history/find_equal.h"

#include "core/git/handles.h"
#include "core/history/commit_headers.h"
#include "core/history/patch_id.h"
#include "core/history/quick_objects.h"
#include "core/history/tree_changes.h"

#include <algorithm>
#include <atomic>
#include <cstring>
#include <mutex>
#include <thread>
#include <unordered_map>
#include <unordered_set>

namespace espalier {

struct EquivalenceCache::Data {
    std::mutex lock;
    std::unordered_map<Oid, std::optional<Oid>> changeIds;
    // Which paths a commit changes, as one number. Of a commit that was given up halfway, the path that ruled it out: as
    // long as nobody wants that path either it need not be read again, and once somebody does the whole is worth keeping.
    struct Outline {
        std::uint64_t key = 0;
        std::string ruledOutBy; // empty: `key` is known
    };
    std::unordered_map<Oid, Outline> outlines;
    // Opened once a repository; a commit that is newer than these files is found in the store.
    std::string filesOf;
    std::shared_ptr<const QuickFiles> files;
    std::shared_ptr<const QuickFiles> filesFor(const Repository& repository)
    {
        const std::scoped_lock locked(lock);
        const std::string path = repository.commonDir().string();
        if (!files || filesOf != path) {
            files = QuickFiles::open(repository);
            filesOf = path;
        }
        return files;
    }
};

EquivalenceCache::EquivalenceCache() : m_data(std::make_unique<Data>()) {}
EquivalenceCache::~EquivalenceCache() = default;

namespace {

constexpr std::uint64_t noOutline = 0; // a merge, or a commit that changes nothing

struct Step {
    Oid oldTree, newTree; // zero oldTree: a root
    bool merge = false;  // or anything else that has no change of its own
};

Result<Step> stepOf(QuickObjects& objects, const Oid& commit)
{
    Step step;
    std::vector<Oid> parents, ignored;
    const auto tree = objects.commit(commit, parents);
    if (!tree)
        return std::unexpected(tree.error());
    step.newTree = *tree;
    step.merge = parents.size() > 1;
    if (parents.size() == 1) {
        const auto below = objects.commit(parents[0], ignored);
        if (!below && !objects.store().contains(parents[0])) {
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
    Outlines(QuickObjects& objects, EquivalenceCache::Data& cache) : m_objects(objects), m_cache(cache) {}

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
        const auto step = stepOf(m_objects, commit);
        if (!step)
            return std::unexpected(step.error());
        if (step->merge)
            return std::vector<PathChange>();
        auto changes = treeChanges(m_objects, step->oldTree, step->newTree);
        if (!changes)
            return std::unexpected(changes.error());
        return std::move(**changes);
    }

    // noOutline also for commits that touch anything but the wanted paths.
    Result<std::uint64_t> outlineIfWanted(QuickObjects& objects, const Oid& commit) const
    {
        bool again = false;
        {
            const std::scoped_lock locked(m_cache.lock);
            if (const auto at = m_cache.outlines.find(commit); at != m_cache.outlines.end()) {
                const EquivalenceCache::Data::Outline& outline = at->second;
                if (outline.ruledOutBy.empty() || !m_paths.contains(outline.ruledOutBy))
                    return outline.ruledOutBy.empty() ? outline.key : noOutline;
                again = true;
            }
        }
        const auto step = stepOf(objects, commit);
        if (!step)
            return std::unexpected(step.error());
        EquivalenceCache::Data::Outline outline{noOutline, {}};
        if (!step->merge) {
            std::function<bool(const std::string&)> wanted;
            if (!again)
                wanted = [&](const std::string& path) {
                    if (m_paths.contains(path))
                        return true;
                    outline.ruledOutBy = path;
                    return false;
                };
            const auto changes = treeChanges(objects, step->oldTree, step->newTree, wanted);
            if (!changes)
                return std::unexpected(changes.error());
            if (*changes)
                outline = {outlineOf(**changes), {}};
        }
        const std::scoped_lock locked(m_cache.lock);
        m_cache.outlines[commit] = outline;
        return outline.key;
    }

    // The same for many, by all cores; in the order of `commits`.
    Result<std::vector<std::uint64_t>> outlinesIfWanted(std::span<const Oid> commits, const Progress& progress)
    {
        std::vector<std::uint64_t> outlines(commits.size());
        std::atomic<std::size_t> done = 0;
        const auto part = [&](QuickObjects& objects, std::size_t from, std::size_t to) -> Result<void> {
            for (std::size_t i = from; i < to; ++i) {
                if (i % 64 == 0 && progress.stopped())
                    return cancelled();
                const auto outline = outlineIfWanted(objects, commits[i]);
                if (!outline)
                    return std::unexpected(outline.error());
                outlines[i] = *outline;
                if (++done % 1024 == 0 && from == 0)
                    progress.report("Comparing changes", done, commits.size());
            }
            return {};
        };
        const std::size_t cores = std::clamp<std::size_t>(std::thread::hardware_concurrency(), 1, 16);
        // New objects in memory belong to the caller's store alone.
        const std::size_t parts =
            m_objects.store().fresh().count() > 0 ? 1 : std::clamp<std::size_t>(commits.size() / 256, 1, cores);
        std::vector<Result<void>> results(parts);
        const auto bound = [&](std::size_t i) { return commits.size() * i / parts; };
        {
            std::vector<std::jthread> threads;
            for (std::size_t i = 1; i < parts; ++i)
                threads.emplace_back([&, i] {
                    auto repository = Repository::open(m_objects.store().repository().path());
                    if (!repository) {
                        results[i] = std::unexpected(repository.error());
                        return;
                    }
                    ObjectStore store(*repository);
                    QuickObjects objects(store, m_cache.filesFor(*repository));
                    results[i] = part(objects, bound(i), bound(i + 1));
                });
            results[0] = part(m_objects, 0, bound(1));
        }
        for (const auto& result : results)
            if (!result)
                return std::unexpected(result.error());
        return outlines;
    }

  private:
    QuickObjects& m_objects;
    EquivalenceCache::Data& m_cache;
    std::unordered_set<std::string> m_paths;
};

} // namespace

namespace {

Result<std::optional<Oid>> changeIdOf(QuickObjects& objects, const Oid& commit, EquivalenceCache& cache,
                                      const Progress& progress)
{
    EquivalenceCache::Data& data = cache.data();
    {
        const std::scoped_lock locked(data.lock);
        if (const auto known = data.changeIds.find(commit); known != data.changeIds.end())
            return known->second;
    }
    const auto step = stepOf(objects, commit);
    if (!step)
        return std::unexpected(step.error());
    std::optional<Oid> id;
    if (!step->merge) {
        const auto changes = treeChanges(objects, step->oldTree, step->newTree);
        if (!changes)
            return std::unexpected(changes.error());
        auto made = changeIdFrom(objects.store(), **changes, progress);
        if (!made)
            return made;
        id = *made;
    }
    const std::scoped_lock locked(data.lock);
    data.changeIds.insert_or_assign(commit, id);
    return id;
}

} // namespace

Result<std::optional<Oid>> changeId(ObjectStore& store, const Oid& oldTree, const Oid& newTree, const Progress& progress)
{
    QuickObjects objects(store);
    const auto changes = treeChanges(objects, oldTree, newTree);
    if (!changes)
        return std::unexpected(changes.error());
    return changeIdFrom(store, **changes, progress);
}

Result<std::optional<Oid>> changeIdOf(ObjectStore& store, const Oid& commit, EquivalenceCache& cache,
                                      const Progress& progress)
{
    QuickObjects objects(store, cache.data().filesFor(store.repository()));
    return changeIdOf(objects, commit, cache, progress);
}

namespace {

// The others whose outline is `outline` and whose change is the one with this id; the first of them.
Result<std::optional<Oid>> firstEqual(QuickObjects& objects, const Oid& change, std::span<const Oid> possible,
                                      EquivalenceCache& cache, const Progress& progress)
{
    for (const Oid& other : possible) {
        auto id = changeIdOf(objects, other, cache, progress);
        if (!id)
            return id;
        if (*id == change)
            return other;
    }
    return std::nullopt;
}

} // namespace

Result<EqualChanges> findEqual(ObjectStore& store, std::span<const Oid> mine, std::span<const Oid> others,
                               const std::optional<std::pair<Oid, Oid>>& combined, EquivalenceCache& cache,
                               const Progress& progress)
{
    EqualChanges found;
    if (others.empty())
        return found;
    QuickObjects objects(store, cache.data().filesFor(store.repository()));
    Outlines outlines(objects, cache.data());
    std::vector<std::uint64_t> outlineOfMine;
    std::unordered_map<std::uint64_t, std::vector<Oid>> possible; // outline, those of the others that have it
    for (const Oid& commit : mine) {
        const auto changes = outlines.changesOfCommit(commit);
        if (!changes)
            return std::unexpected(changes.error());
        outlineOfMine.push_back(outlines.want(*changes));
        if (outlineOfMine.back() != noOutline)
            possible.try_emplace(outlineOfMine.back());
    }
    std::vector<PathChange> together;
    std::uint64_t outlineTogether = noOutline;
    if (combined) {
        auto changes = treeChanges(objects, combined->first, combined->second);
        if (!changes)
            return std::unexpected(changes.error());
        together = std::move(**changes);
        outlineTogether = outlines.want(together);
        if (outlineTogether != noOutline)
            possible.try_emplace(outlineTogether);
    }
    if (possible.empty())
        return found;
    const auto outlineOfOther = outlines.outlinesIfWanted(others, progress);
    if (!outlineOfOther)
        return std::unexpected(outlineOfOther.error());
    for (std::size_t i = 0; i < others.size(); ++i)
        if (const auto at = possible.find((*outlineOfOther)[i]); at != possible.end())
            at->second.push_back(others[i]);

    for (std::size_t i = 0; i < mine.size(); ++i) {
        if (outlineOfMine[i] == noOutline || possible[outlineOfMine[i]].empty())
            continue;
        const auto change = changeIdOf(objects, mine[i], cache, progress);
        if (!change)
            return std::unexpected(change.error());
        const auto other = firstEqual(objects, change->value_or(Oid()), possible[outlineOfMine[i]], cache, progress);
        if (!other)
            return std::unexpected(other.error());
        if (*other)
            found.pairs.emplace_back(mine[i], **other);
    }
    if (outlineTogether == noOutline || possible[outlineTogether].empty() ||
        (!mine.empty() && found.pairs.size() == mine.size()))
        return found;
    const auto change = changeIdFrom(store, together, progress);
    if (!change)
        return std::unexpected(change.error());
    auto squash = firstEqual(objects, change->value_or(Oid()), possible[outlineTogether], cache, progress);
    if (!squash)
        return std::unexpected(squash.error());
    found.squash = *squash;
    return found;
}

Result<std::vector<std::pair<Oid, Oid>>> equalCommits(ObjectStore& store, std::span<const Oid> mine,
                                                      std::span<const Oid> others, EquivalenceCache& cache,
                                                      const Progress& progress)
{
    auto found = findEqual(store, mine, others, std::nullopt, cache, progress);
    if (!found)
        return std::unexpected(found.error());
    return std::move(found->pairs);
}

Result<std::optional<Oid>> squashedAs(ObjectStore& store, const Oid& baseTree, const Oid& tipTree,
                                      std::span<const Oid> others, EquivalenceCache& cache, const Progress& progress)
{
    auto found = findEqual(store, {}, others, std::pair(baseTree, tipTree), cache, progress);
    if (!found)
        return std::unexpected(found.error());
    return found->squash;
}

} // namespace espalier
