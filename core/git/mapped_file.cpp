// SPDX-License-Identifier: MIT
#include "core/git/mapped_file.h"

#include <cerrno>
#include <cstring>

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

Result<MappedFile> MappedFile::open(const std::filesystem::path& path)
{
    // O_NONBLOCK: a pipe in the place of the file must not make the program wait for ever.
    const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0) {
        if (errno == ENOENT || errno == ENOTDIR)
            return fail(ErrorKind::NotFound, "The file does not exist", path.string());
        return fail(ErrorKind::Storage, std::string("The file cannot be opened: ") + std::strerror(errno),
                    path.string());
    }
    MappedFile mapped;
    struct stat state{};
    bool ok = fstat(file, &state) == 0 && S_ISREG(state.st_mode);
    if (ok && state.st_size > 0) {
        void* data = mmap(nullptr, std::size_t(state.st_size), PROT_READ, MAP_PRIVATE, file, 0);
        ok = data != MAP_FAILED;
        if (ok) {
            mapped.m_data = data;
            mapped.m_size = std::size_t(state.st_size);
        }
    }
    ::close(file);
    if (!ok)
        return fail(ErrorKind::Storage, "The file cannot be read", path.string(), "Check its permissions");
    return mapped;
}

MappedFile::~MappedFile()
{
    if (m_data)
        munmap(m_data, m_size);
}

void MappedFile::letGo() const
{
    if (m_data)
        madvise(m_data, m_size, MADV_DONTNEED);
}

} // namespace espalier
