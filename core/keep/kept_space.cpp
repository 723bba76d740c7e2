// SPDX-License-Identifier: MIT
#include "core/keep/kept_space.h"

#include "core/git/process.h"

#include <charconv>

namespace espalier {

Result<std::uint64_t> keptSpace(const Repository& repository)
{
    const auto ended = run({.argv = {"git", "rev-list", "--disk-usage", "--objects", "--glob=refs/espalier/kept/*",
                                     "--not", "--exclude=refs/espalier/*", "--all"},
                            .environment = {{"GIT_DIR", repository.gitDir().string()}}});
    if (!ended)
        return std::unexpected(ended.error());
    std::uint64_t bytes = 0;
    const auto read = std::from_chars(ended->out.data(), ended->out.data() + ended->out.size(), bytes);
    if (!ended->ok() || read.ec != std::errc{})
        return fail(ErrorKind::Broken, "The space of the kept tips is not known [" + ended->lastWords() + "]",
                    repository.path().string(), "git fsck tells what is damaged");
    return bytes;
}

} // namespace espalier
