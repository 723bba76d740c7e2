// SPDX-License-Identifier: MIT
#include "core/refs/ref_tips.h"

#include "core/git/handles.h"

namespace espalier {

Result<std::vector<Oid>> commitsOfRefs(const Repository& repository,
                                       const std::function<bool(std::string_view name)>& counts)
{
    Handle<git_reference_iterator> all;
    if (git_reference_iterator_new(out(all), raw(repository)) < 0)
        return libgitError("The branches cannot be read", {});
    std::vector<Oid> tips;
    for (Handle<git_reference> ref; git_reference_next(out(ref), all.get()) == 0;) {
        Handle<git_object> commit;
        if ((!counts || counts(git_reference_name(ref.get()))) &&
            git_reference_peel(out(commit), ref.get(), GIT_OBJECT_COMMIT) == 0)
            tips.push_back(fromGit(*git_object_id(commit.get())));
    }
    return tips;
}

} // namespace espalier
