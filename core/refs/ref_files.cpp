// SPDX-License-Identifier: MIT
#include "core/refs/ref_files.h"

#include "core/git/files.h"
#include "core/git/spawn.h"
#include "core/refs/head.h"
#include "core/refs/ref_name.h"

#include <cerrno>
#include <cstdlib>

#include <fcntl.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t mostPackedBytes = std::size_t(1) << 30;

bool isLogged(git_repository* handle, const std::string& name, const fs::path& log)
{
    Handle<git_config> config;
    Buffer value;
    std::string wanted;
    if (git_repository_config_snapshot(out(config), handle) == 0 &&
        git_config_get_string_buf(&value, config.get(), "core.logallrefupdates") == 0)
        wanted = value.str();
    if (wanted == "always")
        return true;
    int on = git_repository_is_bare(handle) ? 0 : 1;
    if (!wanted.empty())
        git_config_parse_bool(&on, wanted.c_str());
    const bool usual = name == "HEAD" || name.starts_with(headsPrefix) || name.starts_with(trackingPrefix) ||
                       name.starts_with("refs/notes/");
    std::error_code ignored;
    return (on != 0 && usual) || fs::is_regular_file(log, ignored);
}

std::string whoAndWhen(git_repository* handle)
{
    Handle<git_signature> who;
    if (git_signature_default(out(who), handle) < 0 && git_signature_now(out(who), "unknown", "unknown") < 0)
        return "unknown <unknown> 0 +0000";
    const int offset = std::abs(who->when.offset);
    char zone[16];
    std::snprintf(zone, sizeof zone, "%c%02d%02d", who->when.offset < 0 ? '-' : '+', offset / 60, offset % 60);
    return std::string(who->name) + " <" + who->email + "> " + std::to_string(who->when.time) + " " + zone;
}

fs::path logFile(git_repository* handle, const std::string& name)
{
    return fs::path(name == "HEAD" ? git_repository_path(handle) : git_repository_commondir(handle)) / "logs" / name;
}

bool endsInsideLine(const fs::path& log)
{
    const Fd file(::open(log.c_str(), O_RDONLY | O_CLOEXEC));
    char last = '\n';
    const off_t size = file.isOpen() ? ::lseek(file.get(), 0, SEEK_END) : 0;
    return size > 0 && ::pread(file.get(), &last, 1, size - 1) == 1 && last != '\n';
}

void removeLogsOfGone(git_repository* handle, const std::string& name, const fs::path& folder)
{
    std::error_code error;
    for (fs::recursive_directory_iterator at(folder, error); !error && at != fs::recursive_directory_iterator();
         at.increment(error)) {
        std::error_code ignored;
        if (!fs::is_regular_file(at->symlink_status(ignored)))
            continue;
        const std::string ref = name + '/' + at->path().lexically_relative(folder).string();
        if (const auto stands = readRef(handle, ref); stands && stands->isZero())
            removeSurely(at->path());
    }
}

} // namespace

fs::path refFile(git_repository* handle, const std::string& name)
{
    return fs::path(name == "HEAD" ? git_repository_path(handle) : git_repository_commondir(handle)) / name;
}

Result<std::optional<std::string>> packedWithout(const fs::path& commonDir, const std::set<std::string>& names)
{
    const auto text = readFileBounded(commonDir / "packed-refs", mostPackedBytes);
    if (!text && text.error().kind == ErrorKind::NotFound)
        return std::nullopt;
    if (!text)
        return std::unexpected(text.error());
    std::string kept;
    bool dropped = false, droppedAny = false;
    for (std::string_view rest = *text; !rest.empty();) {
        const std::size_t end = std::min(rest.find('\n'), rest.size() - 1);
        const std::string_view line = rest.substr(0, end + 1);
        rest.remove_prefix(end + 1);
        // "^id" tells what the tag of the line before stands for.
        if (!line.starts_with('^')) {
            const std::size_t blank = line.find(' ');
            std::string_view name = blank == std::string_view::npos ? line : line.substr(blank + 1);
            while (!name.empty() && (name.back() == '\n' || name.back() == '\r'))
                name.remove_suffix(1);
            dropped = !line.starts_with('#') && names.contains(std::string(name));
            droppedAny = droppedAny || dropped;
        }
        if (!dropped)
            kept += line;
    }
    if (!droppedAny)
        return std::nullopt;
    return kept;
}

Result<void> appendReflog(git_repository* handle, const std::string& name, const Oid& before, const Oid& after,
                          const std::string& message)
{
    const fs::path log = logFile(handle, name);
    if (!isLogged(handle, name, log))
        return {};
    // A folder of that name is what branches that are gone have left, and logs in it who was stopped between branch and log.
    std::error_code ignored;
    if (fs::is_directory(log, ignored)) {
        removeLogsOfGone(handle, name, log);
        removeEmptyTree(log);
    }
    // And a log above it: who deleted that branch was stopped between the branch and its log.
    for (std::size_t slash = name.find('/'); slash != std::string::npos; slash = name.find('/', slash + 1)) {
        const std::string above = name.substr(0, slash);
        if (const fs::path old = logFile(handle, above); fs::is_regular_file(fs::symlink_status(old, ignored)))
            if (const auto stands = readRef(handle, above); stands && stands->isZero())
                removeSurely(old);
    }
    if (auto made = makeFolders(log.parent_path()); !made)
        return made;
    std::string line = before.hex() + ' ' + after.hex() + ' ' + whoAndWhen(handle) + '\t';
    for (const char c : message)
        line += c == '\n' || c == '\r' ? ' ' : c;
    line += '\n';
    // What a power cut left of the line before must not spoil this one.
    if (endsInsideLine(log))
        line.insert(line.begin(), '\n');
    const Fd file(::open(log.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666));
    const int error = file.isOpen() ? writeAll(file.get(), line) : errno;
    if (error != 0)
        return storageError("The branch's log cannot be written", log, error);
    return {};
}

Result<void> removeReflog(git_repository* handle, const std::string& name)
{
    const fs::path log = logFile(handle, name);
    if (const int error = removeSurely(log); error != 0 && error != ENOTDIR && error != EISDIR)
        return storageError("The branch's log cannot be removed", log, error);
    removeEmptyAbove(fs::path(git_repository_commondir(handle)) / "logs", log, 2);
    return {};
}

bool removeEmptyTree(const fs::path& folder)
{
    std::error_code error;
    for (fs::directory_iterator at(folder, error); !error && at != fs::directory_iterator(); at.increment(error)) {
        std::error_code ignored;
        if (at->is_symlink(ignored) || !at->is_directory(ignored) || !removeEmptyTree(at->path()))
            return false;
    }
    return ::rmdir(folder.c_str()) == 0 || errno == ENOENT;
}

void removeEmptyAbove(const fs::path& root, const fs::path& path, int depth)
{
    const fs::path below = path.lexically_relative(root);
    auto parts = std::distance(below.begin(), below.end()) - 1;
    for (fs::path folder = path.parent_path(); parts > depth; folder = folder.parent_path(), --parts)
        if (::rmdir(folder.c_str()) < 0)
            return;
}

} // namespace espalier
