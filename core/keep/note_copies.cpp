// SPDX-License-Identifier: MIT
#include "core/keep/note_copies.h"

#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/refs/head.h"
#include "core/refs/ref_transaction.h"

#include <cstdlib>
#include <set>

namespace espalier {

template <> struct HandleFree<git_note> {
    void operator()(git_note* p) const noexcept { git_note_free(p); }
};

namespace {

std::vector<std::string> configuredPatterns(const Repository& repository)
{
    std::vector<std::string> patterns;
    if (const char* variable = std::getenv("GIT_NOTES_REWRITE_REF")) {
        std::string_view rest = variable;
        while (!rest.empty()) {
            const std::size_t end = std::min(rest.find(':'), rest.size());
            patterns.emplace_back(rest.substr(0, end));
            rest.remove_prefix(std::min(end + 1, rest.size()));
        }
        return patterns;
    }
    Handle<git_config> config;
    Handle<git_config_iterator> values;
    if (git_repository_config_snapshot(out(config), raw(repository)) < 0 ||
        git_config_multivar_iterator_new(out(values), config.get(), "notes.rewriteref", nullptr) < 0)
        return patterns;
    git_config_entry* entry = nullptr;
    while (git_config_next(&entry, values.get()) == 0) {
        if (entry->value)
            patterns.emplace_back(entry->value);
    }
    return patterns;
}

std::set<std::string> notesRefs(const Repository& repository)
{
    std::set<std::string> refs;
    for (const std::string& pattern : configuredPatterns(repository)) {
        // git ignores what is not below refs/notes/ for these.
        if (!pattern.starts_with("refs/notes/"))
            continue;
        Handle<git_reference_iterator> iterator;
        if (git_reference_iterator_glob_new(out(iterator), raw(repository), pattern.c_str()) < 0)
            continue;
        const char* name = nullptr;
        while (git_reference_next_name(&name, iterator.get()) == 0)
            refs.insert(name);
    }
    return refs;
}

std::string joined(const std::string& mode, const std::string& there, const std::string& copied)
{
    if (mode == "overwrite" || there.empty())
        return copied;
    if (mode == "cat_sort_uniq") {
        std::set<std::string> lines;
        for (const std::string* text : {&there, &copied}) {
            std::string_view rest = *text;
            while (!rest.empty()) {
                const std::size_t end = std::min(rest.find('\n'), rest.size());
                lines.emplace(rest.substr(0, end));
                rest.remove_prefix(std::min(end + 1, rest.size()));
            }
        }
        std::string all;
        for (const std::string& line : lines)
            all += line + '\n';
        return all;
    }
    return there + (there.ends_with('\n') ? "\n" : "\n\n") + copied;
}

std::string noteOf(git_repository* handle, git_commit* notes, const git_oid& commit)
{
    Handle<git_note> note;
    return git_note_commit_read(out(note), handle, notes, &commit) == 0 ? git_note_message(note.get()) : "";
}

struct WrittenNotes {
    Oid tip;
    std::size_t copied = 0;
};

// The notes of one ref, on top of `tip`: their objects, which come out the same each time. Errors: whatever kept one from being
// written.
Result<WrittenNotes> writeNotes(const Repository& repository, const std::string& ref, const Oid& tip,
                                const std::string& mode, const git_signature* who,
                                const std::vector<std::pair<Oid, Oid>>& pairs)
{
    git_repository* handle = raw(repository);
    Handle<git_commit> notes;
    git_oid id = toGit(tip);
    if (git_commit_lookup(out(notes), handle, &id) < 0)
        return libgitError("The notes cannot be read", ref, "git notes list tells more");
    WrittenNotes written{tip};
    for (const auto& [old, now] : pairs) {
        const git_oid from = toGit(old), to = toGit(now);
        const std::string text = noteOf(handle, notes.get(), from), there = noteOf(handle, notes.get(), to);
        const std::string whole = joined(mode, there, text);
        // Those that are there already: this may be the second attempt.
        const bool isThere = whole == there || (mode == "concatenate" && there.ends_with(text));
        if (text.empty() || (mode == "ignore" && !there.empty()) || isThere)
            continue;
        if (git_note_commit_create(&id, nullptr, handle, notes.get(), who, who, &to, whole.c_str(), 1) < 0 ||
            git_commit_lookup(out(notes), handle, &id) < 0)
            return libgitError("The note cannot be written", old.brief());
        written.tip = fromGit(id);
        ++written.copied;
    }
    return written;
}

// Errors: as above, and whatever kept the ref from moving.
Result<std::size_t> copyNotesOf(const Repository& repository, const std::string& ref, const std::string& mode,
                                const git_signature* who, const std::vector<std::pair<Oid, Oid>>& pairs)
{
    git_repository* handle = raw(repository);
    const auto tip = readRef(handle, ref);
    if (!tip)
        return std::unexpected(tip.error());
    const auto written = writeNotes(repository, ref, *tip, mode, who, pairs);
    if (!written)
        return std::unexpected(written.error());
    if (written->copied == 0)
        return 0;
    if (auto moved = moveRefs(repository, {{ref, *tip, written->tip}}, "notes: Notes copied by 'espalier'"); !moved)
        return std::unexpected(moved.error());
    // From here on a ref leads to them. A gc in between may have taken them for rubbish; a handle that has not seen them
    // looks for each on the disk.
    const auto again = Repository::open(repository.path());
    if (!again)
        return std::unexpected(again.error());
    if (const auto kept = writeNotes(*again, ref, *tip, mode, who, pairs); !kept)
        return std::unexpected(kept.error());
    return written->copied;
}

} // namespace

std::size_t copyNotes(const Repository& repository, const std::vector<std::pair<Oid, Oid>>& pairs,
                      std::vector<std::string>& notices)
{
    if (!repository.configBool("notes.rewrite.rebase", true))
        return 0;
    const std::string mode = repository.config("notes.rewriteMode").value_or("concatenate");
    Handle<git_signature> who;
    if (git_signature_default(out(who), raw(repository)) < 0 && git_signature_now(out(who), "unknown", "unknown") < 0)
        return 0;
    std::size_t all = 0;
    for (const std::string& ref : notesRefs(repository)) {
        if (const auto copied = copyNotesOf(repository, ref, mode, who.get(), pairs))
            all += *copied;
        else
            notices.push_back("The notes of " + displayText(ref, 200) + " were not copied: " + copied.error().line());
    }
    return all;
}

} // namespace espalier
