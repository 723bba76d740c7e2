// SPDX-License-Identifier: MIT
#include "core/remotes/fetch.h"
#include "core/remotes/transport.h"

namespace espalier {

namespace fs = std::filesystem;

Result<fs::path> cloneRepository(const std::string& url, const fs::path& folder, const Access& access,
                                 const Progress& progress)
{
    std::error_code error;
    const bool existed = fs::exists(folder, error);
    if (existed && (!fs::is_directory(folder, error) || !fs::is_empty(folder, error)))
        return fail(ErrorKind::Refused, "The folder is not empty", folder.string(), "Choose a new one");
    auto cloned = cloneInto(url, folder, access, progress);
    if (cloned)
        return folder;
    // Nothing stays behind: the folder as it was, there and empty, or not there.
    if (!existed) {
        fs::remove_all(folder, error);
    } else {
        for (const auto& item : fs::directory_iterator(folder, error))
            fs::remove_all(item.path(), error);
    }
    return std::unexpected(cloned.error());
}

} // namespace espalier
