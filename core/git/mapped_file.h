// SPDX-License-Identifier: MIT
//
// A file's bytes, mapped into memory for reading.
//
//     Result<MappedFile> file = MappedFile::open(path);
//     file->bytes();       // valid as long as the object (or what it was moved into) lives
#pragma once

#include "core/git/error.h"

#include <cstddef>
#include <filesystem>
#include <string_view>
#include <utility>

namespace espalier {

class MappedFile {
  public:
    MappedFile() = default;
    // Errors: NotFound when there is no such file, Storage when it cannot be read.
    static Result<MappedFile> open(const std::filesystem::path& path);

    MappedFile(MappedFile&& other) noexcept
        : m_data(std::exchange(other.m_data, nullptr)), m_size(std::exchange(other.m_size, 0))
    {
    }
    MappedFile& operator=(MappedFile&& other) noexcept
    {
        std::swap(m_data, other.m_data);
        std::swap(m_size, other.m_size);
        return *this;
    }
    ~MappedFile();

    // Empty for an empty file.
    std::string_view bytes() const { return {static_cast<const char*>(m_data), m_size}; }
    // Gives the memory back that what was read takes; bytes() stays valid, and is read from the file's cache again.
    void letGo() const;

  private:
    void* m_data = nullptr;
    std::size_t m_size = 0;
};

} // namespace espalier
