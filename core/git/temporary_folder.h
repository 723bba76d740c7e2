// SPDX-License-Identifier: MIT
//
// A folder for what another program is handed and hands back; it goes, with all that is in it, with the object.
//
//     const TemporaryFolder folder("espalier-merge");
//     if (folder.path().empty()) …                     // it could not be made: the disk is full, or TMPDIR is wrong
#pragma once

#include <cstdlib>
#include <filesystem>
#include <string>
#include <system_error>

namespace espalier {

class TemporaryFolder {
  public:
    explicit TemporaryFolder(const std::string& name)
    {
        std::error_code error;
        std::string path = (std::filesystem::temp_directory_path(error) / (name + "-XXXXXX")).string();
        if (!error && ::mkdtemp(path.data()))
            m_path = path;
    }
    ~TemporaryFolder()
    {
        std::error_code ignored;
        if (!m_path.empty())
            std::filesystem::remove_all(m_path, ignored);
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    const std::filesystem::path& path() const { return m_path; }

  private:
    std::filesystem::path m_path;
};

} // namespace espalier
