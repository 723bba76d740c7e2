// SPDX-License-Identifier: MIT
//
// Whether a settled text can still be read as what its sides are: JSON, or XML. Where every side that there is can be read so
// and the settled text cannot, that is said, with the line where a reader gave up. Nothing outside the text is looked at, and
// entities are not expanded without bound. For a worker thread.
//
//     settledRemarks(repository, run, cache, unreadableRemarks, progress);
#pragma once

#include "core/settle/remarks.h"

namespace espalier {

// At most one. Texts of more than eight megabytes are not judged.
std::vector<Remark> unreadableRemarks(const JudgedTexts& texts);

} // namespace espalier
