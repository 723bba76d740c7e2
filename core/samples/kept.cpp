// SPDX-License-Identifier: MIT
#include "core/samples/kept.h"

#include "core/git/files.h"

#include <algorithm>

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr const char* sign = "espalier-sample";

bool isOurs(const fs::path& folder)
{
    std::error_code failed;
    return fs::symlink_status(folder, failed).type() == fs::file_type::directory &&
           fs::symlink_status(folder / sign, failed).type() == fs::file_type::regular;
}

Sample sampleIn(const fs::path& folder) { return {folder / "upstream.git", folder / "fork.git", folder / "clone"}; }

// Objects are read-only, and so may be folders; a folder that cannot be written keeps what is in it.
void makeWritable(const fs::path& folder)
{
    std::error_code failed;
    fs::permissions(folder, fs::perms::owner_all, fs::perm_options::add, failed);
    for (const fs::directory_entry& entry : fs::directory_iterator(folder, failed))
        if (entry.symlink_status(failed).type() == fs::file_type::directory)
            makeWritable(entry.path());
        else if (!entry.is_symlink(failed))
            fs::permissions(entry.path(), fs::perms::owner_write, fs::perm_options::add, failed);
}

// Stands beside a sample while it is built, held by a lock that ends with whoever builds: ".NAME.building".
class BuildingMark {
  public:
    // Made anew, or taken over when its maker is gone.
    explicit BuildingMark(fs::path path)
        : m_path(std::move(path)), m_file(::open(m_path.c_str(), O_CREAT | O_RDWR | O_CLOEXEC | O_NOFOLLOW, 0600))
    {
        m_held = m_file >= 0 && ::flock(m_file, LOCK_EX | LOCK_NB) == 0;
    }
    ~BuildingMark()
    {
        if (m_held)
            ::unlink(m_path.c_str());
        if (m_file >= 0)
            ::close(m_file);
    }
    BuildingMark(const BuildingMark&) = delete;
    BuildingMark& operator=(const BuildingMark&) = delete;
    bool isHeld() const { return m_held; }

  private:
    fs::path m_path;
    int m_file;
    bool m_held = false;
};
constexpr std::string_view markEnd = ".building";

fs::path markOf(const fs::path& folder)
{
    return folder.parent_path() / ("." + folder.filename().string() + std::string(markEnd));
}

Result<void> removeFolder(const fs::path& folder)
{
    makeWritable(folder);
    std::error_code failed;
    fs::remove_all(folder, failed);
    if (failed)
        return fail(ErrorKind::Storage, "The sample cannot be removed", folder.string(), failed.message());
    return {};
}

} // namespace

std::vector<std::string> keptSamples(const fs::path& root)
{
    std::vector<std::string> names;
    std::error_code failed;
    for (const fs::directory_entry& entry : fs::directory_iterator(root, failed))
        if (isOurs(entry.path()))
            names.push_back(entry.path().filename().string());
    std::ranges::sort(names);
    return names;
}

void removeUnfinishedSamples(const fs::path& root)
{
    std::error_code failed;
    std::vector<std::string> names;
    for (const fs::directory_entry& entry : fs::directory_iterator(root, failed)) {
        const std::string name = entry.path().filename().string();
        if (name.size() > markEnd.size() + 1 && name.starts_with('.') && name.ends_with(markEnd) &&
            entry.symlink_status(failed).type() == fs::file_type::regular)
            names.push_back(name.substr(1, name.size() - markEnd.size() - 1));
    }
    for (const std::string& name : names) {
        const fs::path folder = root / name;
        const BuildingMark mark(markOf(folder));
        if (mark.isHeld() && !isOurs(folder) && fs::symlink_status(folder, failed).type() == fs::file_type::directory)
            (void)removeFolder(folder);
    }
}

Result<Sample> openKeptSample(const std::string& name, const fs::path& root, const Progress& progress)
{
    removeUnfinishedSamples(root);
    fs::path folder = root / name;
    std::error_code failed;
    for (int other = 2; fs::symlink_status(folder, failed).type() != fs::file_type::not_found; ++other) {
        if (isOurs(folder))
            return sampleIn(folder);
        folder = root / (name + "-" + std::to_string(other));
    }
    fs::create_directories(root, failed);
    const BuildingMark mark(markOf(folder));
    auto sample = buildSample(name, folder, progress);
    if (sample)
        if (auto signedOff = writeFileAtomically(folder / sign, name + '\n'); !signedOff)
            sample = std::unexpected(signedOff.error());
    // What was not finished was made here just now and nobody has seen it.
    if (!sample && fs::exists(folder, failed))
        (void)removeFolder(folder);
    return sample;
}

Result<void> removeKeptSample(const std::string& name, const fs::path& root)
{
    const bool plain = !name.empty() && name != "." && name != ".." && name.find('/') == std::string::npos;
    const fs::path folder = root / name;
    if (!plain || !isOurs(folder))
        return fail(ErrorKind::NotFound, "There is no such sample to remove", folder.string());
    return removeFolder(folder);
}

} // namespace espalier
