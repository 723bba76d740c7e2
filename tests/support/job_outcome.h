// SPDX-License-Identifier: MIT
//
// What has to hold after a branch of a sample was rewritten and pushed, seen by programs that share nothing with the code
// under test: git's plumbing, and dulwich, an independent reader of git's format (common practice: two readers that agree).
//
//     QCOMPARE(rewriteProblem(sample, "topic/metric-heights", oldTip, "upstream/main"), QString());
#pragma once

#include "core/git/oid.h"
#include "core/samples/samples.h"

#include <QString>

namespace espalier::test {

// The first thing that does not hold, empty when all does: `git fsck --strict` has nothing to say in upstream, fork and
// clone; the fork's branch is the clone's, and no longer `oldTip`; from `newBase` on it has the commits that it had, with
// the authors, author dates and messages that they had; and dulwich reads the same commits and files out of the fork.
QString rewriteProblem(const Sample& sample, const QString& branch, const Oid& oldTip, const QString& newBase);
// The first part of it alone.
QString fsckProblem(const Sample& sample);

} // namespace espalier::test
