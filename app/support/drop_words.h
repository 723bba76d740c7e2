// SPDX-License-Identifier: MIT
//
// What a drop would do, in words, or why it cannot: the one answer for the graph, the board, the cards and the list by
// keyboard. Quick: asked for every move of the pointer.
//
//     DropAnswer answer = answerDrop(*snapshot, source, target);
//     label->setText(answer.words);       // "Replay topic/x onto upstream/main"
#pragma once

#include "app/support/drag.h"
#include "core/history/snapshot.h"

namespace espalier {

struct DropAnswer {
    bool allowed = false;
    QString words; // a sentence without its full stop; never empty
};

// `snapshot` is the one that both were found in; a commit that it does not have: not allowed.
DropAnswer answerDrop(const Snapshot& snapshot, const DragSource& source, const DropTarget& target);

} // namespace espalier
