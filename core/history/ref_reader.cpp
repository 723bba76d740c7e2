// SPDX-License-Identifier: MIT
#include "core/history/ref_reader.h"

#include "core/git/mapped_file.h"

#include <algorithm>
#include <fstream>
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

std::string readSmallFile(const fs::path& path)
{
    std::ifstream file(path, std::ios::binary);
    std::string text(4096, '\0');
    file.read(text.data(), std::streamsize(text.size()));
    text.resize(std::size_t(file.gcount()));
    return text;
}

// "ref: NAME", or an id at the beginning of the text.
bool parseContent(std::string_view text, RawRef& ref)
{
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
        if (goodName(full) && parseContent(readSmallFile(at->path()), ref))
            refs.list.push_back(std::move(ref));
        else
            refs.notices.push_back("The ref " + full + " cannot be read and is passed over.");
    }
}

void readPacked(const fs::path& path, std::string_view prefix, RawRefs& refs)
{
    const auto file = MappedFile::open(path);
    if (!file)
        return;
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
        refs.notices.push_back("The file packed-refs has lines that cannot be read; they are passed over.");
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
    refs.list = std::move(all);
    refs.notices.insert(refs.notices.end(), packed.notices.begin(), packed.notices.end());
    return refs;
}

HeadContent headContent(const fs::path& gitDir)
{
    RawRef ref;
    if (!parseContent(readSmallFile(gitDir / "HEAD"), ref))
        return {};
    return {ref.target, ref.id};
}

} // namespace espalier
