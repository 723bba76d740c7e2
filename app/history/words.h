// SPDX-License-Identifier: MIT
//
// How the history's things are called on screen: refs, places, presence.
#pragma once

#include "core/history/snapshot.h"
#include "core/lanes/lanes.h"

#include <QString>
#include <QStringList>

namespace espalier {

// "upstream", "fork", "clone", as the bands are headed.
QString placeWord(Place place);
// "topic/x", "fork: topic/x", "upstream: main", "v2.3".
QString refLabel(const Ref& ref);
// "in the clone only", "in upstream, the fork and the clone", "in no branch".
QString presenceText(Places places);
// What a commit's place in the history is not as it was made: cut off below (a shallow clone), given other parents (a
// graft), replaced. A word or two for its row, or a sentence a thing; empty for nearly every commit.
QStringList alterations(const History& history, Row row, bool inFull);
// "24 commits, 3 labels": what a fold holds beside its own row.
QString foldedWords(const DisplayRow& shown);
// "2,440 commits, 3 touch your files, 12 labels": what a gap of the gathered picture stands for.
QString gapWords(const DisplayRow& shown);
// The short form of an address for narrow places, its last two parts, "harbour-lab/tidebook".
QString shortAddress(const std::string& url);
// The remote that plays a place; null for the clone and when there is none.
const Remote* remoteOf(const Snapshot& snapshot, Place place);
// The ref a drag of this row's branch would carry: the clone's branch first, HEAD's before others; null when none.
const Ref* branchAt(const Snapshot& snapshot, Row row);
// Whether HEAD stands on this row.
bool isHead(const Snapshot& snapshot, Row row);
bool isHeadBranch(const Snapshot& snapshot, const Ref& ref);

} // namespace espalier
