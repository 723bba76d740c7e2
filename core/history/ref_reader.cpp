// SPDX-License-Identifier: MIT
#include "core/history/ref_reader.h"

#include "core/git/files.h"
#include "core/git/mapped_file.h"
#include "core/git/text.h"

#include <algorithm>
#include <iterator>
#include <ranges>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr int deepestName = 64;

// The rules of git-check-ref-format(1) that a name read from a file could break. In one go, as there may be tens of thousands.
bool goodName(std::string_view name)
{
    if (name.empty() || name.back() == '/' || name.back() == '.' || name.ends_with(".lock"))
        return false;
    char before = 0;
    for (const char c : name) {
        const bool pair =
            (before == '.' && c == '.') || (before == '@' && c == '{') || (before == '/' && (c == '/' || c == '.'));
        const bool never = static_cast<unsigned char>(c) <= ' ' || c == 0x7F || c == '~' || c == '^' || c == ':' ||
                           c == '?' || c == '*' || c == '[' || c == '\\';
        if (pair || never)
            return false;
        before = c;
    }
    return true;
}

std::string_view trimmed(std::string_view text)
{
    while (!text.empty() && (text.back() == '\n' || text.back() == '\r' || text.back() == ' ' || text.back() == '\t'))
        text.remove_suffix(1);
    return text;
}

constexpr std::size_t largestRef = 4096;

// "ref: NAME", or an id at the beginning of the text.
bool parseContent(std::string_view text, RawRef& ref)
{
    if (text.size() > largestRef)
        return false;
    text = trimmed(text);
    if (text.starts_with("ref:")) {
        text.remove_prefix(4);
        while (!text.empty() && text.front() == ' ')
            text.remove_prefix(1);
        ref.target = text;
        return goodName(text);
    }
    const auto id = Oid::parse(text.substr(0, 40));
    if (!id || id->isZero() || (text.size() > 40 && text[40] > ' '))
        return false;
    ref.id = *id;
    return true;
}

Result<void> checkPlain(const fs::path& path, fs::file_type type)
{
    if (type != fs::file_type::fifo && type != fs::file_type::socket && type != fs::file_type::character &&
        type != fs::file_type::block)
        return {};
    return fail(ErrorKind::Broken, "A file of the repository is a pipe, a socket or a device", path.string(),
                "Remove it; git fsck and git reflog tell what stood there");
}

void readLoose(const fs::path& folder, const std::string& name, int depth, RawRefs& refs)
{
    std::error_code error;
    for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
        const std::string full = name + at->path().filename().string();
        std::error_code kindError;
        if (at->is_directory(kindError)) {
            if (depth < deepestName)
                readLoose(at->path(), full + '/', depth + 1, refs);
            continue;
        }
        if (full.ends_with(".lock"))
            continue;
        RawRef ref{full, {}, {}, {}};
        const auto text = readFileBounded(at->path(), std::size_t(1) << 20);
        // Packed while this was being read.
        if (!text && text.error().kind == ErrorKind::NotFound && !fs::is_symlink(at->path(), kindError))
            continue;
        if (!text)
            if (auto plain = checkPlain(at->path(), at->status(kindError).type()); !plain)
                refs.unreadable = plain.error();
        if (!goodName(full) || !text || !parseContent(*text, ref)) {
            refs.notices.push_back("The ref " + displayText(full, 300) + " cannot be read and is passed over.");
            // It still hides the packed one of its name, which is older.
            ref.id = {};
            ref.target.clear();
        }
        refs.list.push_back(std::move(ref));
    }
    if (error && error != std::errc::no_such_file_or_directory && error != std::errc::not_a_directory)
        refs.unreadable = storageError("The refs in a folder cannot be read", folder, error.value()).error();
}

void readPacked(const fs::path& path, std::string_view prefix, RawRefs& refs)
{
    const auto file = MappedFile::open(path);
    if (!file) {
        if (file.error().kind != ErrorKind::NotFound)
            refs.unreadable = Error{file.error().kind, "The file of the packed refs cannot be read", path.string(),
                                    "Check that it is a plain file and who may read it"};
        return;
    }
    std::string_view text = file->bytes();
    bool last = false; // whether the line before was taken, for the "^" line that may follow
    std::size_t odd = 0;
    while (!text.empty()) {
        const std::size_t end = text.find('\n');
        const std::string_view line = trimmed(text.substr(0, end));
        text.remove_prefix(end == text.npos ? text.size() : end + 1);
        if (line.empty() || line[0] == '#')
            continue;
        if (line[0] == '^') {
            if (const auto peeled = Oid::parse(line.substr(1)); peeled && last)
                refs.list.back().peeled = *peeled;
            continue;
        }
        last = false;
        const auto id = Oid::parse(line.substr(0, 40));
        if (!id || line.size() < 42 || line[40] != ' ') {
            ++odd;
            continue;
        }
        const std::string_view name = line.substr(41);
        if (!name.starts_with(prefix))
            continue;
        if (!goodName(name) || id->isZero()) {
            ++odd;
            continue;
        }
        refs.list.push_back({std::string(name), *id, {}, {}});
        last = true;
    }
    if (odd > 0)
        refs.notices.push_back("The file " + displayText(path.string(), 300) + " has " +
                               counted(odd, "line that cannot be read; it is passed over.",
                                       "lines that cannot be read; they are passed over."));
}

} // namespace

RawRefs readRawRefs(const Repository& repository, std::string_view prefix)
{
    RawRefs packed, refs;
    const fs::path common = repository.commonDir(), own = repository.gitDir();
    readPacked(common / "packed-refs", prefix, packed);
    readLoose(common / prefix, std::string(prefix), 0, refs);
    if (own != common) {
        // These belong to one worktree each (gitrepository-layout(5)).
        constexpr std::string_view perWorktree[] = {"refs/bisect/", "refs/worktree/", "refs/rewritten/"};
        std::erase_if(refs.list, [&](const RawRef& ref) {
            return std::ranges::any_of(perWorktree, [&](auto start) { return ref.name.starts_with(start); });
        });
        for (const auto start : perWorktree)
            if (start.starts_with(prefix))
                readLoose(own / start, std::string(start), 0, refs);
    }
    std::ranges::sort(refs.list, {}, &RawRef::name);
    if (!std::ranges::is_sorted(packed.list, {}, &RawRef::name))
        std::ranges::stable_sort(packed.list, {}, &RawRef::name);
    // Loose refs win over packed ones: they come first, and the first of a name stays.
    std::vector<RawRef> all;
    all.reserve(packed.list.size() + refs.list.size());
    std::ranges::merge(std::move(refs.list) | std::views::as_rvalue, std::move(packed.list) | std::views::as_rvalue,
                       std::back_inserter(all), {}, &RawRef::name, &RawRef::name);
    const auto doubles = std::ranges::unique(all, {}, &RawRef::name);
    all.erase(doubles.begin(), doubles.end());
    std::erase_if(all, [](const RawRef& ref) { return ref.id.isZero() && ref.target.empty(); });
    refs.list = std::move(all);
    refs.notices.insert(refs.notices.end(), packed.notices.begin(), packed.notices.end());
    if (packed.unreadable)
        refs.unreadable = std::move(packed.unreadable);
    return refs;
}

namespace {

Result<void> checkPlainBelow(const fs::path& folder, int depth)
{
    std::error_code error;
    for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
        std::error_code kindError;
        const fs::file_type type = at->status(kindError).type();
        if (auto plain = checkPlain(at->path(), type); !plain)
            return plain;
        if (type == fs::file_type::directory && depth < deepestName)
            if (auto plain = checkPlainBelow(at->path(), depth + 1); !plain)
                return plain;
    }
    return {};
}

} // namespace

Result<void> checkRefsArePlain(const Repository& repository)
{
    const fs::path common = repository.commonDir(), own = repository.gitDir();
    for (const fs::path& path : {own / "HEAD", own / "index", common / "config", common / "packed-refs",
                                 common / "shallow", own / "ORIG_HEAD", own / "FETCH_HEAD"}) {
        std::error_code ignored;
        if (auto plain = checkPlain(path, fs::status(path, ignored).type()); !plain)
            return plain;
    }
    return checkPlainBelow(common / "refs", 0);
}

HeadContent headContent(const fs::path& gitDir)
{
    RawRef ref;
    const auto text = readFileBounded(gitDir / "HEAD", largestRef);
    if (!text || !parseContent(*text, ref))
        return {};
    return {ref.target, ref.id};
}

} // namespace espalier
