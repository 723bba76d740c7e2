// SPDX-License-Identifier: MIT
#include "core/samples/kept.h"

#include <algorithm>
#include <fstream>

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

Result<Sample> openKeptSample(const std::string& name, const fs::path& root, const Progress& progress)
{
    fs::path folder = root / name;
    std::error_code failed;
    for (int other = 2; fs::symlink_status(folder, failed).type() != fs::file_type::not_found; ++other) {
        if (isOurs(folder))
            return sampleIn(folder);
        folder = root / (name + "-" + std::to_string(other));
    }
    auto sample = buildSample(name, folder, progress);
    if (sample && !(std::ofstream(folder / sign) << name << '\n').flush())
        sample = fail(ErrorKind::Storage, "The sample cannot be written", folder.string());
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
