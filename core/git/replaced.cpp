// SPDX-License-Identifier: MIT
#include "core/git/replaced.h"

#include "core/git/handles.h"
#include "core/git/mapped_file.h"

#include <cstdlib>
#include <filesystem>

namespace espalier {

namespace {

constexpr std::string_view prefix = "refs/replace/";

bool hasAny(const std::filesystem::path& commonDir)
{
    std::error_code error;
    const std::filesystem::directory_iterator loose(commonDir / prefix, error);
    if (!error && loose != std::filesystem::directory_iterator())
        return true;
    const auto packed = MappedFile::open(commonDir / "packed-refs");
    return packed && packed->bytes().contains(prefix);
}

} // namespace

Oid Replaced::standIn(Oid id) const
{
    // git follows at most five replacements of replacements.
    for (int depth = 0; depth < 5; ++depth) {
        const auto found = objects.find(id);
        if (found == objects.end())
            break;
        id = found->second;
    }
    return id;
}

Replaced readReplaced(const Repository& repository)
{
    Replaced replaced;
    if (std::getenv("GIT_NO_REPLACE_OBJECTS") || !hasAny(repository.commonDir()) ||
        !repository.configBool("core.useReplaceRefs", true))
        return replaced;
    Handle<git_reference_iterator> iterator;
    if (git_reference_iterator_glob_new(out(iterator), raw(repository), "refs/replace/*") < 0)
        return replaced;
    for (Handle<git_reference> ref; git_reference_next(out(ref), iterator.get()) == 0;) {
        const auto id = Oid::parse(std::string_view(git_reference_name(ref.get())).substr(prefix.size()));
        if (id && git_reference_type(ref.get()) == GIT_REFERENCE_DIRECT)
            replaced.objects.insert_or_assign(*id, fromGit(*git_reference_target(ref.get())));
    }
    return replaced;
}

} // namespace espalier
