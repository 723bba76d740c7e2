// SPDX-License-Identifier: MIT
#include "core/history/find_equal.h"

#include "core/git/handles.h"
#include "core/history/line_shift.h"
#include "core/history/outlines.h"
#include "core/history/patch_id.h"

namespace espalier {

struct EquivalenceCache::Data {
    EquivalenceHabits habits;
    std::string overrides;
    OutlineTable outlines;
    std::mutex lock;
    std::unordered_map<Oid, std::optional<Oid>> changeIds;
    std::unordered_map<Oid, std::uint64_t> shifts; // see shiftOf()
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
            // Whoever asks a single question reads no more than that needs.
            if (habits.manyQuestions)
                outlines.add(readOutlines(repository));
        }
        return files;
    }
    // What cannot be written is read again the next time; nobody has to hear of it.
    void keep(const Repository& repository)
    {
        constexpr std::size_t least = 1000;
        if (!habits.manyQuestions || !overrides.empty())
            return;
        if (const std::vector<KeptOutline> all = outlines.worthKeeping(least); !all.empty())
            (void)keepOutlines(repository, all);
    }
};

EquivalenceCache::EquivalenceCache(const EquivalenceHabits& habits, std::string overrides)
    : m_data(std::make_unique<Data>())
{
    m_data->habits = habits;
    m_data->overrides = std::move(overrides);
}
EquivalenceCache::~EquivalenceCache() = default;

bool EquivalenceCache::holdsUnder(std::string_view overrides) const { return m_data->overrides == overrides; }

namespace {

char kindOf(FileMode mode) { return mode == FileMode::Symlink ? 'l' : mode == FileMode::Submodule ? 's' : 'f'; }

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
    const bool added = !change.before.exists(), deleted = !change.after.exists();
    sum.beginFile("diff --git " + oldName + " " + newName);
    if (added) {
        sum.headerLine("new file mode " + modeText(change.after.mode));
    } else if (deleted) {
        sum.headerLine("deleted file mode " + modeText(change.before.mode));
    } else if (change.before.mode != change.after.mode) {
        sum.headerLine("old mode " + modeText(change.before.mode));
        sum.headerLine("new mode " + modeText(change.after.mode));
    }
    if (change.before.id == change.after.id)
        return {};
    const auto before = contentOf(store, change.before.id, change.before.mode);
    const auto after = contentOf(store, change.after.id, change.after.mode);
    if (!before)
        return std::unexpected(before.error());
    if (!after)
        return std::unexpected(after.error());
    if (looksBinary(*before) || looksBinary(*after)) {
        sum.binary(change.before.id.hex(), change.after.id.hex());
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
        return libgitError("A change cannot be compared", change.after.id.hex());
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
        const bool bothThere = change.before.exists() && change.after.exists();
        if (bothThere && kindOf(change.before.mode) != kindOf(change.after.mode)) {
            // git shows a file that becomes a link (or the like) as deleted and added.
            const PathChange gone{change.path, change.before, {}};
            const PathChange come{change.path, {}, change.after};
            for (const PathChange& half : {gone, come})
                if (auto done = addFile(store, half, sum); !done)
                    return std::unexpected(done.error());
        } else if (auto done = addFile(store, change, sum); !done) {
            return std::unexpected(done.error());
        }
    }
    return sum.finish();
}

// The changes of a commit against its first parent. Nothing for a merge.
Result<std::optional<std::vector<PathChange>>> changesOf(QuickObjects& objects, const Oid& commit)
{
    const auto step = stepOf(objects, commit);
    if (!step)
        return std::unexpected(step.error());
    if (step->merge)
        return std::nullopt;
    return treeChanges(objects, step->oldTree, step->newTree);
}

Result<std::optional<Oid>> changeIdOf(QuickObjects& objects, const Oid& commit, EquivalenceCache& cache,
                                      const Progress& progress)
{
    EquivalenceCache::Data& data = cache.data();
    {
        const std::scoped_lock locked(data.lock);
        if (const auto known = data.changeIds.find(commit); known != data.changeIds.end())
            return known->second;
    }
    const auto changes = changesOf(objects, commit);
    if (!changes)
        return std::unexpected(changes.error());
    auto id = *changes ? changeIdFrom(objects.store(), **changes, progress) : std::nullopt;
    if (!id)
        return id;
    const std::scoped_lock locked(data.lock);
    data.changeIds.insert_or_assign(commit, *id);
    return id;
}

// By how much a change moves the lines of its files, see lineShift(): of two equal changes the same.
Result<std::uint64_t> shiftOf(QuickObjects& objects, std::span<const PathChange> changes, const Progress& progress)
{
    const auto contentOf = [&](const PathEntry& entry) -> Result<std::shared_ptr<const std::string>> {
        if (!entry.exists())
            return std::make_shared<const std::string>();
        if (entry.mode == FileMode::Submodule)
            return std::make_shared<const std::string>(entry.id.hex());
        return objects.read(entry.id, ObjectType::Blob);
    };
    std::uint64_t shift = 0;
    for (const PathChange& change : changes) {
        if (progress.stopped())
            return cancelled();
        shift *= 0x9e3779b97f4a7c15;
        if (change.before.id == change.after.id)
            continue;
        const auto before = contentOf(change.before), after = contentOf(change.after);
        if (!before || !after)
            return std::unexpected(!before ? before.error() : after.error());
        shift += lineShift(**before, **after);
    }
    return shift;
}

// Of a commit, where it was asked for before.
std::optional<std::uint64_t> knownShift(EquivalenceCache& cache, const Oid& commit)
{
    EquivalenceCache::Data& data = cache.data();
    const std::scoped_lock locked(data.lock);
    const auto known = data.shifts.find(commit);
    return known == data.shifts.end() ? std::nullopt : std::optional(known->second);
}

void keepShift(EquivalenceCache& cache, const Oid& commit, std::uint64_t shift)
{
    const std::scoped_lock locked(cache.data().lock);
    cache.data().shifts.emplace(commit, shift);
}

} // namespace

Result<std::optional<Oid>> changeId(ObjectStore& store, const Oid& oldTree, const Oid& newTree,
                                    const Progress& progress)
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

// A change that another is sought for: its id is made only when one comes near it.
struct Sought {
    std::span<const PathChange> changes;
    std::function<Result<std::optional<Oid>>()> id;
};

bool isSame(const PathChange& a, const PathChange& b)
{
    return a.path == b.path && a.before == b.before && a.after == b.after;
}

// The first of `possible`, whose outlines are that of the change that is sought, that is the same change. No content is read
// where both sides are the same to the byte, as mostly where it landed soon.
Result<std::optional<Oid>> firstEqual(QuickObjects& objects, const Sought& sought, std::span<const Oid> possible,
                                      EquivalenceCache& cache, const Progress& progress)
{
    std::optional<std::uint64_t> shift; // of what is sought
    std::optional<Oid> wanted;
    const auto isTheSame = [&](const std::optional<std::vector<PathChange>>& changes) {
        return changes && std::ranges::equal(sought.changes, *changes, isSame);
    };
    for (const Oid& other : possible) {
        std::optional<std::uint64_t> otherShift = knownShift(cache, other);
        const bool isNew = !otherShift;
        if (isNew) {
            const auto changes = changesOf(objects, other);
            if (!changes)
                return std::unexpected(changes.error());
            if (isTheSame(*changes))
                return other;
            if (!*changes)
                continue; // a merge
            const auto made = shiftOf(objects, **changes, progress);
            if (!made)
                return std::unexpected(made.error());
            keepShift(cache, other, *made);
            otherShift = *made;
        }
        if (!shift) {
            const auto made = shiftOf(objects, sought.changes, progress);
            if (!made)
                return std::unexpected(made.error());
            shift = *made;
        }
        if (*otherShift != *shift)
            continue;
        if (!isNew) {
            const auto changes = changesOf(objects, other);
            if (!changes)
                return std::unexpected(changes.error());
            if (isTheSame(*changes))
                return other;
        }
        if (!wanted) {
            const auto id = sought.id();
            if (!id)
                return id;
            wanted = id->value_or(Oid());
        }
        const auto id = changeIdOf(objects, other, cache, progress);
        if (!id)
            return id;
        if (*id == *wanted)
            return other;
    }
    return std::nullopt;
}

} // namespace

Result<EqualChanges> findEqual(ObjectStore& store, std::span<const Oid> mine, std::span<const Oid> others,
                               const std::optional<std::pair<Oid, Oid>>& combined, EquivalenceCache& cache,
                               const Progress& progress, const PassedOver& passedOver)
{
    EqualChanges found;
    if (others.empty())
        return found;
    const auto files = cache.data().filesFor(store.repository());
    QuickObjects objects(store, files);
    Outlines outlines(objects, files, cache.data().outlines, cache.data().habits);
    std::vector<std::uint64_t> wanted;
    std::vector<std::vector<PathChange>> changesOfMine;
    bool any = false;
    for (const Oid& commit : mine) {
        auto changes = changesOf(objects, commit);
        if (!changes)
            return std::unexpected(changes.error());
        changesOfMine.push_back(std::move(*changes).value_or(std::vector<PathChange>()));
        wanted.push_back(*changes ? outlines.want(changesOfMine.back()) : noOutline);
        any = any || wanted.back() != noOutline;
    }
    std::vector<PathChange> together;
    std::uint64_t outlineTogether = noOutline;
    if (combined) {
        auto changes = treeChanges(objects, combined->first, combined->second);
        if (!changes)
            return std::unexpected(changes.error());
        together = std::move(**changes);
        outlineTogether = outlines.want(together);
    }
    if (!any && outlineTogether == noOutline)
        return found;
    if (auto read = outlines.read(others, progress); !read)
        return std::unexpected(read.error());
    cache.data().keep(store.repository());

    const auto having = [&](std::uint64_t outline) {
        std::vector<Oid> possible = outlines.having(outline, others);
        if (passedOver)
            std::erase_if(possible, passedOver);
        return possible;
    };
    for (std::size_t i = 0; i < mine.size(); ++i) {
        const Sought sought{changesOfMine[i], [&] { return changeIdOf(objects, mine[i], cache, progress); }};
        const auto other = firstEqual(objects, sought, having(wanted[i]), cache, progress);
        if (!other)
            return std::unexpected(other.error());
        if (*other)
            found.pairs.emplace_back(mine[i], **other);
    }
    if (!mine.empty() && found.pairs.size() == mine.size())
        return found;
    const Sought sought{together, [&] { return changeIdFrom(store, together, progress); }};
    auto squash = firstEqual(objects, sought, having(outlineTogether), cache, progress);
    if (!squash)
        return std::unexpected(squash.error());
    found.squash = *squash;
    return found;
}

Result<std::vector<std::pair<Oid, Oid>>> equalCommits(ObjectStore& store, std::span<const Oid> mine,
                                                      std::span<const Oid> others, EquivalenceCache& cache,
                                                      const Progress& progress, const PassedOver& passedOver)
{
    auto found = findEqual(store, mine, others, std::nullopt, cache, progress, passedOver);
    if (!found)
        return std::unexpected(found.error());
    return std::move(found->pairs);
}

Result<std::optional<Oid>> squashedAs(ObjectStore& store, const Oid& baseTree, const Oid& tipTree,
                                      std::span<const Oid> others, EquivalenceCache& cache, const Progress& progress,
                                      const PassedOver& passedOver)
{
    auto found = findEqual(store, {}, others, std::pair(baseTree, tipTree), cache, progress, passedOver);
    if (!found)
        return std::unexpected(found.error());
    return found->squash;
}

} // namespace espalier
