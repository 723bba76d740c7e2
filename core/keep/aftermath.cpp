// SPDX-License-Identifier: MIT
#include "core/keep/aftermath.h"

#include "core/git/text.h"
#include "core/keep/note_copies.h"

namespace espalier {

void runAftermath(const Repository& repository, Applied& applied, bool rewrites)
{
    if (!rewrites)
        return;
    if (const std::size_t copied = copyNotes(repository, applied.entry.pairs, applied.notices))
        applied.notices.push_back(counted(copied, "note was", "notes were") + " copied to the new commits");
}

} // namespace espalier
