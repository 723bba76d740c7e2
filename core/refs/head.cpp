// SPDX-License-Identifier: MIT
#include "core/refs/head.h"

#include "core/refs/ref_name.h"

namespace espalier {

Result<Head> readHead(git_repository* handle)
{
    Handle<git_reference> ref;
    if (git_reference_lookup(out(ref), handle, "HEAD") < 0)
        return libgitError("HEAD cannot be read", git_repository_path(handle), "git fsck tells what is damaged");
    Head head;
    if (git_reference_type(ref.get()) == GIT_REFERENCE_DIRECT) {
        head.detached = true;
        head.tip = fromGit(*git_reference_target(ref.get()));
        head.text = head.tip.hex();
        return head;
    }
    head.text = git_reference_symbolic_target(ref.get());
    auto tip = readRef(handle, head.text);
    if (!tip)
        return std::unexpected(tip.error());
    head.tip = *tip;
    return head;
}

Result<Oid> readRef(git_repository* handle, const std::string& name)
{
    Handle<git_reference> ref;
    const int code = git_reference_lookup(out(ref), handle, name.c_str());
    if (code == GIT_ENOTFOUND)
        return Oid{};
    if (code == GIT_EINVALIDSPEC)
        return fail(ErrorKind::Usage, "This is not a name that a branch can have", shownRef(name),
                    "Choose another name");
    if (code < 0)
        return libgitError("The branch cannot be read", shownRef(name), "git fsck tells what is damaged");
    if (git_reference_type(ref.get()) != GIT_REFERENCE_DIRECT)
        return fail(ErrorKind::Refused, "This branch only points at another branch", shownRef(name),
                    "Work with the branch that it points at");
    return fromGit(*git_reference_target(ref.get()));
}

} // namespace espalier
