// SPDX-License-Identifier: MIT
#include "core/history/changes.h"
#include "core/history/diff_changes.h"

#include "core/git/handles.h"
#include "core/git/replaced.h"
#include "core/git/text.h"
#include "core/tree/differences.h"

#include <algorithm>

namespace espalier {

namespace {

// As git's diff.renameLimit has it by default: pairs beyond its square are not compared for similarity.
constexpr std::size_t renameLimit = 1000;

ChangeKind kindOf(git_delta_t status)
{
    switch (status) {
    case GIT_DELTA_ADDED:
        return ChangeKind::Added;
    case GIT_DELTA_DELETED:
        return ChangeKind::Deleted;
    case GIT_DELTA_RENAMED:
        return ChangeKind::Renamed;
    case GIT_DELTA_COPIED:
        return ChangeKind::Copied;
    case GIT_DELTA_TYPECHANGE:
        return ChangeKind::TypeChanged;
    default:
        return ChangeKind::Modified;
    }
}

FileMode modeOf(const git_diff_file& file)
{
    return (file.flags & GIT_DIFF_FLAG_EXISTS) || file.mode != 0 ? FileMode(file.mode) : FileMode::None;
}

Result<Handle<git_commit>> lookUp(const Repository& repository, const Oid& id)
{
    Handle<git_commit> commit;
    const git_oid gitId = toGit(readReplaced(repository).standIn(id));
    if (git_commit_lookup(out(commit), raw(repository), &gitId) < 0)
        return libgitError("The commit cannot be read", id.hex(), "Fetch again, or run git fsck in the repository");
    return commit;
}

Result<Handle<git_tree>> treeOf(const git_commit* commit)
{
    Handle<git_tree> tree;
    if (git_commit_tree(out(tree), commit) < 0)
        return libgitError("The commit's tree cannot be read", fromGit(*git_commit_id(commit)).hex());
    return tree;
}

Result<Handle<git_tree>> treeOf(const Repository& repository, const Oid& commit)
{
    const auto found = lookUp(repository, commit);
    if (!found)
        return std::unexpected(found.error());
    return treeOf(found->get());
}

std::string headingOf(const git_diff_hunk& hunk)
{
    // "@@ -1,2 +3,4 @@ heading"
    const std::string_view header(hunk.header, hunk.header_len);
    const std::size_t at = header.find("@@", 2);
    std::string_view heading = at == header.npos ? std::string_view() : header.substr(at + 2);
    while (!heading.empty() && (heading.front() == ' '))
        heading.remove_prefix(1);
    while (!heading.empty() && (heading.back() == '\n' || heading.back() == '\r'))
        heading.remove_suffix(1);
    return std::string(heading);
}

void addLine(DiffHunk& hunk, const git_diff_line& line)
{
    if (line.origin == GIT_DIFF_LINE_CONTEXT_EOFNL || line.origin == GIT_DIFF_LINE_ADD_EOFNL ||
        line.origin == GIT_DIFF_LINE_DEL_EOFNL) {
        if (!hunk.lines.empty())
            hunk.lines.back().noNewline = true;
        return;
    }
    DiffLine& added = hunk.lines.emplace_back();
    added.kind = line.origin == GIT_DIFF_LINE_ADDITION   ? DiffLine::Added
                 : line.origin == GIT_DIFF_LINE_DELETION ? DiffLine::Deleted
                                                         : DiffLine::Context;
    added.oldNumber = std::max(line.old_lineno, 0);
    added.newNumber = std::max(line.new_lineno, 0);
    added.text.assign(line.content, line.content_len);
    if (added.text.ends_with('\n'))
        added.text.pop_back();
}

// The patch of a file into `change`: counts always, lines when they are wanted and not too many.
void fillLines(const git_patch* patch, const ChangesOptions& options, FileChange& change)
{
    std::size_t context = 0, added = 0, deleted = 0;
    if (git_patch_line_stats(&context, &added, &deleted, patch) < 0)
        return;
    change.added = std::uint32_t(added);
    change.deleted = std::uint32_t(deleted);
    if (!options.withLines)
        return;
    if (context + added + deleted > options.maxLines) {
        change.tooBig = true;
        return;
    }
    for (std::size_t h = 0; h < git_patch_num_hunks(patch); ++h) {
        const git_diff_hunk* header = nullptr;
        std::size_t lines = 0;
        if (git_patch_get_hunk(&header, &lines, const_cast<git_patch*>(patch), h) < 0)
            return;
        DiffHunk& hunk = change.hunks.emplace_back();
        hunk.header = headingOf(*header);
        hunk.oldStart = header->old_start;
        hunk.oldCount = header->old_lines;
        hunk.newStart = header->new_start;
        hunk.newCount = header->new_lines;
        for (std::size_t l = 0; l < lines; ++l) {
            const git_diff_line* line = nullptr;
            if (git_patch_get_line_in_hunk(&line, const_cast<git_patch*>(patch), h, l) < 0)
                return;
            addLine(hunk, *line);
        }
    }
}

Result<Handle<git_diff>> compareTrees(const Repository& repository, git_tree* before, git_tree* after,
                                      const ChangesOptions& options)
{
    git_diff_options diffOptions = GIT_DIFF_OPTIONS_INIT;
    diffOptions.flags = GIT_DIFF_INDENT_HEURISTIC | GIT_DIFF_INCLUDE_TYPECHANGE;
    if (options.ignoreWhitespace)
        diffOptions.flags |= GIT_DIFF_IGNORE_WHITESPACE;
    diffOptions.context_lines = std::uint32_t(std::clamp(options.context, 0, 1'000'000));
    diffOptions.max_size = biggestText;
    Handle<git_diff> diff;
    if (git_diff_tree_to_tree(out(diff), raw(repository), before, after, &diffOptions) < 0)
        return libgitError("The commits cannot be compared");
    git_diff_find_options find = GIT_DIFF_FIND_OPTIONS_INIT;
    find.flags = GIT_DIFF_FIND_RENAMES;
    find.rename_limit = renameLimit;
    // Renames are a nicety: a change that cannot be searched for them is still shown.
    git_diff_find_similar(diff.get(), &find);
    return diff;
}

bool isBlob(const git_diff_file& file) { return file.mode != GIT_FILEMODE_COMMIT && file.mode != GIT_FILEMODE_TREE; }

// libgit2 makes no lines for a file that becomes a link or the like; both sides are texts all the same.
Handle<git_patch> patchOfTypeChange(const Repository& repository, const git_diff_delta& delta, std::uint32_t context)
{
    Handle<git_patch> patch;
    Handle<git_blob> before, after;
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.context_lines = context;
    if (isBlob(delta.old_file) && isBlob(delta.new_file) &&
        git_blob_lookup(out(before), raw(repository), &delta.old_file.id) == 0 &&
        git_blob_lookup(out(after), raw(repository), &delta.new_file.id) == 0 &&
        git_patch_from_blobs(out(patch), before.get(), nullptr, after.get(), nullptr, &options) < 0)
        patch.reset();
    return patch;
}

Result<Changes> changesOfDiff(const Repository& repository, git_diff* diff, const ChangesOptions& options,
                              const Progress& progress)
{
    Changes changes;
    const std::size_t count = git_diff_num_deltas(diff);
    changes.truncated = count > options.maxFiles;
    for (std::size_t i = 0; i < std::min(count, options.maxFiles); ++i) {
        if (progress.stopped())
            return cancelled();
        progress.report("Comparing files", i, count);
        auto change = changeOfDelta(repository, diff, i, options);
        if (!change)
            return std::unexpected(change.error());
        changes.added += change->added;
        changes.deleted += change->deleted;
        changes.files.push_back(std::move(*change));
    }
    std::ranges::stable_sort(changes.files, {}, &FileChange::newPath);
    return changes;
}

} // namespace

Result<FileChange> changeOfDelta(const Repository& repository, git_diff* diff, std::size_t at,
                                 const ChangesOptions& options)
{
    Handle<git_patch> patch;
    if (git_patch_from_diff(out(patch), diff, at) < 0)
        return libgitError("A file cannot be compared", git_diff_get_delta(diff, at)->new_file.path);
    const git_diff_delta& delta = *git_diff_get_delta(diff, at); // its flags are known only now
    FileChange change;
    change.kind = kindOf(delta.status);
    change.oldPath = delta.old_file.path;
    change.newPath = delta.new_file.path;
    change.before.mode = modeOf(delta.old_file);
    change.after.mode = modeOf(delta.new_file);
    change.before.id = fromGit(delta.old_file.id);
    change.after.id = fromGit(delta.new_file.id);
    change.binary = (delta.flags & GIT_DIFF_FLAG_BINARY) != 0;
    const auto size = std::max(delta.old_file.size, delta.new_file.size);
    if (change.binary && size > git_object_size_t(biggestText)) {
        change.binary = false;
        change.tooBig = true;
    }
    if (delta.status == GIT_DELTA_TYPECHANGE && !change.tooBig) {
        patch = patchOfTypeChange(repository, delta, std::uint32_t(std::max(options.context, 0)));
        change.binary = patch && (git_patch_get_delta(patch.get())->flags & GIT_DIFF_FLAG_BINARY) != 0;
    }
    if (patch && !change.binary && !change.tooBig)
        fillLines(patch.get(), options, change);
    return change;
}

Result<Changes> changesOf(const Repository& repository, const Oid& commit, const ChangesOptions& options,
                          const Progress& progress)
{
    const auto after = lookUp(repository, commit);
    if (!after)
        return std::unexpected(after.error());
    const auto afterTree = treeOf(after->get());
    if (!afterTree)
        return std::unexpected(afterTree.error());
    Handle<git_tree> beforeTree;
    Handle<git_commit> parent;
    // A parent that a shallow clone left behind counts as none, as git shows it.
    if (git_commit_parentcount(after->get()) > 0 && git_commit_parent(out(parent), after->get(), 0) == 0) {
        auto tree = treeOf(parent.get());
        if (!tree)
            return std::unexpected(tree.error());
        beforeTree = std::move(*tree);
    }
    const auto diff = compareTrees(repository, beforeTree.get(), afterTree->get(), options);
    if (!diff)
        return std::unexpected(diff.error());
    return changesOfDiff(repository, diff->get(), options, progress);
}

Result<Changes> changesBetween(const Repository& repository, const Oid& oldCommit, const Oid& newCommit,
                               const ChangesOptions& options, const Progress& progress)
{
    const auto before = treeOf(repository, oldCommit), after = treeOf(repository, newCommit);
    if (!before || !after)
        return std::unexpected(before ? after.error() : before.error());
    const auto diff = compareTrees(repository, before->get(), after->get(), options);
    if (!diff)
        return std::unexpected(diff.error());
    return changesOfDiff(repository, diff->get(), options, progress);
}

namespace {

// Lines and counts, and whether it is binary; `flags` are added to libgit2's.
Result<FileChange> compareTexts(std::string_view before, std::string_view now, std::uint32_t flags,
                                const ChangesOptions& options)
{
    git_diff_options diffOptions = GIT_DIFF_OPTIONS_INIT;
    diffOptions.flags = GIT_DIFF_INDENT_HEURISTIC | flags;
    if (options.ignoreWhitespace)
        diffOptions.flags |= GIT_DIFF_IGNORE_WHITESPACE;
    diffOptions.context_lines = std::uint32_t(std::clamp(options.context, 0, 1'000'000));
    Handle<git_patch> patch;
    if (git_patch_from_buffers(out(patch), before.data(), before.size(), nullptr, now.data(), now.size(), nullptr,
                               &diffOptions) < 0)
        return libgitError("The texts cannot be compared");
    FileChange change;
    change.binary = (git_patch_get_delta(patch.get())->flags & GIT_DIFF_FLAG_BINARY) != 0;
    if (!change.binary)
        fillLines(patch.get(), options, change);
    return change;
}

// What stands at a path as a text: a file's or a link's contents; of a submodule the line that git shows.
Result<std::string> contentsAt(ObjectStore& store, const PathEntry& entry)
{
    if (!entry.exists())
        return std::string();
    if (entry.mode == FileMode::Submodule)
        return "Subproject commit " + entry.id.hex() + "\n";
    return store.read(entry.id, ObjectType::Blob).transform([](const Object& blob) {
        return std::string(blob.view());
    });
}

bool isTooBig(ObjectStore& store, const PathEntry& entry)
{
    if (!entry.exists() || entry.mode == FileMode::Submodule)
        return false;
    const auto size = store.size(entry.id);
    return size && *size > std::uint64_t(biggestText);
}

Result<FileChange> changeAt(ObjectStore& store, const PathChange& path, const ChangesOptions& options)
{
    FileChange change;
    if (isTooBig(store, path.before) || isTooBig(store, path.after)) {
        change.tooBig = true;
    } else {
        const auto before = contentsAt(store, path.before), after = contentsAt(store, path.after);
        if (!before || !after)
            return std::unexpected(before ? after.error() : before.error());
        auto compared = compareTexts(*before, *after, 0, options);
        if (!compared)
            return compared;
        change = std::move(*compared);
    }
    change.oldPath = change.newPath = path.path;
    change.before = path.before;
    change.after = path.after;
    change.kind = !path.before.exists()                                               ? ChangeKind::Added
                  : !path.after.exists()                                              ? ChangeKind::Deleted
                  : isRegularFile(path.before.mode) == isRegularFile(path.after.mode) ? ChangeKind::Modified
                                                                                      : ChangeKind::TypeChanged;
    return change;
}

} // namespace

Result<Changes> changesOfTrees(ObjectStore& store, const Oid& before, const Oid& after, const ChangesOptions& options,
                               const Progress& progress)
{
    const auto paths = treeChanges(StoreTrees{store}, before, after);
    if (!paths)
        return std::unexpected(paths.error());
    Changes changes;
    const std::size_t count = (*paths)->size();
    changes.truncated = count > options.maxFiles;
    for (std::size_t at = 0; at < std::min(count, options.maxFiles); ++at) {
        if (progress.stopped())
            return cancelled();
        progress.report("Comparing files", at, count);
        auto change = changeAt(store, (**paths)[at], options);
        if (!change)
            return std::unexpected(change.error());
        changes.added += change->added;
        changes.deleted += change->deleted;
        changes.files.push_back(std::move(*change));
    }
    return changes;
}

FileChange joinedChanges(const Changes& changes, std::size_t maxLines)
{
    FileChange joined;
    joined.added = changes.added;
    joined.deleted = changes.deleted;
    if (changes.files.size() == 1)
        joined.oldPath = joined.newPath = changes.files.front().newPath;
    std::size_t lines = 0;
    const auto remark = [&](const std::string& path, const char* words) {
        DiffHunk& hunk = joined.hunks.emplace_back();
        hunk.header = path;
        hunk.lines.push_back({DiffLine::Context, 0, 0, words});
    };
    for (const FileChange& file : changes.files) {
        if (lines > maxLines)
            break;
        const std::string path = file.oldPath == file.newPath || file.oldPath.empty() || file.newPath.empty()
                                     ? file.newPath.empty() ? file.oldPath : file.newPath
                                     : file.oldPath + " => " + file.newPath;
        if (file.binary)
            remark(path, "(a binary file; its lines are not shown)");
        else if (file.tooBig)
            remark(path, "(too big to be shown line by line)");
        else if (file.hunks.empty())
            remark(path, file.kind == ChangeKind::Renamed      ? "(renamed; no line changed)"
                         : file.kind == ChangeKind::Added      ? "(a new file, empty)"
                         : file.kind == ChangeKind::Deleted    ? "(an empty file, deleted)"
                         : file.before.mode != file.after.mode ? "(only the file's mode changed)"
                                                               : "(no line changed)");
        lines += file.hunks.empty() ? 1 : 0;
        for (const DiffHunk& hunk : file.hunks) {
            lines += hunk.lines.size();
            joined.hunks.push_back(hunk);
            joined.hunks.back().header = path + (hunk.header.empty() ? "" : ": " + hunk.header);
        }
    }
    cutLines(joined, maxLines);
    if (changes.truncated && lines <= maxLines)
        joined.hunks.push_back({.header = "more files follow, which are not shown", .lines = {}});
    return joined;
}

void cutLines(FileChange& change, std::size_t most)
{
    std::size_t lines = 0, kept = 0;
    while (kept < change.hunks.size() && lines + change.hunks[kept].lines.size() <= most)
        lines += change.hunks[kept++].lines.size();
    if (kept == change.hunks.size())
        return;
    change.hunks[kept].lines.resize(most - lines);
    if (most > lines)
        ++kept;
    change.hunks.resize(kept);
    change.hunks.push_back({.header = "more lines follow, which are not shown", .lines = {}});
}

Result<FileChange> changesOfTexts(std::string_view before, std::string_view now, const ChangesOptions& options)
{
    auto change = compareTexts(before, now, GIT_DIFF_FORCE_TEXT, options);
    if (change)
        change->binary = false;
    return change;
}

Result<std::string> patchText(const Repository& repository, const Oid& id)
{
    const auto commit = lookUp(repository, id);
    if (!commit)
        return std::unexpected(commit.error());
    if (git_commit_parentcount(commit->get()) > 1)
        return fail(ErrorKind::Usage, "A merge has no patch of its own", id.hex(), "Choose one of its commits");
    git_email_create_options options = GIT_EMAIL_CREATE_OPTIONS_INIT;
    options.diff_opts.flags = GIT_DIFF_SHOW_BINARY | GIT_DIFF_INDENT_HEURISTIC;
    Buffer text;
    if (git_email_create_from_commit(&text, commit->get(), &options) < 0)
        return libgitError("The patch cannot be made", id.hex());
    return text.str();
}

Result<std::string> patchBetween(const Repository& repository, const Oid& oldCommit, const Oid& newCommit)
{
    const auto before = treeOf(repository, oldCommit), after = treeOf(repository, newCommit);
    if (!before || !after)
        return std::unexpected(before ? after.error() : before.error());
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.flags = GIT_DIFF_SHOW_BINARY | GIT_DIFF_INDENT_HEURISTIC;
    options.id_abbrev = 40; // what is binary can be applied with whole ids only
    Handle<git_diff> diff;
    Buffer text;
    if (git_diff_tree_to_tree(out(diff), raw(repository), before->get(), after->get(), &options) < 0 ||
        git_diff_to_buf(&text, diff.get(), GIT_DIFF_FORMAT_PATCH) < 0)
        return libgitError("The patch cannot be made", newCommit.hex());
    return text.str();
}

Result<CommitSummary> summaryOf(ObjectStore& store, const Oid& id)
{
    const auto commit = readCommit(store, id);
    if (!commit)
        return std::unexpected(commit.error());
    CommitSummary summary;
    summary.id = id;
    summary.subject = displayText(commit->subject());
    summary.author = displayText(commit->author.name);
    summary.authorEmail = displayText(commit->author.email);
    summary.authorTime = commit->author.when;
    summary.authorOffset = commit->author.offsetMinutes;
    return summary;
}

} // namespace espalier
