// SPDX-License-Identifier: MIT
#include "core/history/snapshot.h"

#include <algorithm>

#include <sys/stat.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

// FNV-1a, 64 bits: enough to tell that something moved.
class Mixer {
  public:
    void add(std::uint64_t value)
    {
        for (int i = 0; i < 8; ++i, value >>= 8)
            m_value = (m_value ^ (value & 0xFF)) * 0x100000001B3u;
    }
    void add(std::string_view text)
    {
        for (const char c : text)
            m_value = (m_value ^ static_cast<unsigned char>(c)) * 0x100000001B3u;
        add(text.size());
    }
    // Inode, size and time of a file; that it is not there counts too. git replaces files instead of writing into them.
    void addFile(const fs::path& path)
    {
        struct stat state{};
        if (::stat(path.c_str(), &state) != 0)
            return add(std::uint64_t(1));
        add(std::uint64_t(state.st_ino));
        add(std::uint64_t(state.st_size));
        add(std::uint64_t(state.st_mtim.tv_sec) * 1'000'000'000u + std::uint64_t(state.st_mtim.tv_nsec));
    }
    std::uint64_t value() const { return m_value; }

  private:
    std::uint64_t m_value = 0xCBF29CE484222325u;
};

void addTree(Mixer& mixer, const fs::path& folder, int depth)
{
    // Sorted, so that the order in which the system lists them does not matter.
    std::vector<fs::path> entries;
    std::error_code error;
    for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error))
        entries.push_back(at->path());
    std::ranges::sort(entries);
    for (const fs::path& entry : entries) {
        if (entry.extension() == ".lock")
            continue;
        mixer.add(entry.filename().string());
        std::error_code kindError;
        if (fs::is_directory(entry, kindError)) {
            if (depth < 64)
                addTree(mixer, entry, depth + 1);
        } else {
            mixer.addFile(entry);
        }
    }
}

} // namespace

std::uint64_t repositoryFingerprint(const Repository& repository)
{
    Mixer mixer;
    const fs::path own = repository.gitDir(), common = repository.commonDir();
    for (const char* name :
         {"HEAD", "index", "MERGE_HEAD", "CHERRY_PICK_HEAD", "REVERT_HEAD", "BISECT_LOG", "rebase-merge",
          "rebase-merge/done", "rebase-apply", "rebase-apply/next", "sequencer", "FETCH_HEAD"})
        mixer.addFile(own / name);
    for (const char* name : {"packed-refs", "shallow", "config", "info/grafts"})
        mixer.addFile(common / name);
    addTree(mixer, common / "refs", 0);
    std::error_code error;
    for (fs::directory_iterator at(common / "worktrees", error), end; !error && at != end; at.increment(error)) {
        mixer.add(at->path().filename().string());
        mixer.addFile(at->path() / "HEAD");
    }
    return mixer.value();
}

} // namespace espalier
