// SPDX-License-Identifier: MIT
#include "core/keep/open_entries.h"

#include "core/git/handles.h"
#include "core/keep/entry_file.h"

#include <charconv>

namespace espalier {

namespace fs = std::filesystem;

namespace {
constexpr std::size_t maxMarkBytes = std::size_t(4) << 20;

// A number and the blank behind it; nothing when the line is damaged.
std::optional<std::uint64_t> takeNumber(std::string_view& line)
{
    std::uint64_t value = 0;
    const auto [end, error] = std::from_chars(line.data(), line.data() + line.size(), value);
    if (error != std::errc{} || end == line.data() + line.size() || *end != ' ')
        return std::nullopt;
    line.remove_prefix(std::size_t(end - line.data()) + 1);
    return value;
}
} // namespace

fs::path logbookFolder(const Repository& repository) { return ownFolder(repository) / "logbook"; }

fs::path openMark(const Repository& repository, const std::string& id)
{
    return logbookFolder(repository) / (id + ".open");
}

std::vector<std::string> openEntryIds(const Repository& repository)
{
    std::vector<std::string> ids;
    std::error_code error;
    for (fs::directory_iterator files(logbookFolder(repository), error); !error && files != fs::directory_iterator();
         files.increment(error)) {
        const fs::path& path = files->path();
        if (path.extension() == ".open" && isEntryId(path.stem().native()))
            ids.push_back(path.stem().native());
    }
    std::ranges::sort(ids, isOlderEntry);
    return ids;
}

// A line a mark, "device inode path", ended by a zero byte: paths may hold line ends.
Result<void> writeLockMarks(const Repository& repository, const std::string& id, const std::vector<FileMark>& marks)
{
    std::string text;
    for (const FileMark& mark : marks) {
        text += std::to_string(mark.device) + ' ' + std::to_string(mark.inode) + ' ' + mark.path.native();
        text += '\0';
    }
    return writeFileAtomically(openMark(repository, id), text);
}

std::vector<FileMark> readLockMarks(const Repository& repository, const std::string& id)
{
    std::vector<FileMark> marks;
    const auto text = readFileBounded(openMark(repository, id), maxMarkBytes);
    if (!text)
        return marks;
    std::string_view rest = *text;
    for (std::size_t end; (end = rest.find('\0')) != std::string_view::npos; rest.remove_prefix(end + 1)) {
        std::string_view line = rest.substr(0, end);
        const auto device = takeNumber(line);
        const auto inode = device ? takeNumber(line) : std::nullopt;
        // Only lock files, whatever the file says: nothing else is ever removed by its mark.
        if (inode && line.ends_with(".lock"))
            marks.push_back({fs::path(line), *device, *inode});
    }
    return marks;
}

void dropKeptRefs(const Repository& repository, const std::string& id)
{
    Handle<git_reference_iterator> iterator;
    const std::string pattern = "refs/espalier/kept/" + id + "/*";
    if (git_reference_iterator_glob_new(out(iterator), raw(repository), pattern.c_str()) < 0)
        return;
    std::vector<std::string> names;
    const char* name = nullptr;
    while (git_reference_next_name(&name, iterator.get()) == 0)
        names.emplace_back(name);
    for (const std::string& kept : names)
        git_reference_remove(raw(repository), kept.c_str());
}

} // namespace espalier
