// SPDX-License-Identifier: MIT
//
// The only two ways in which work passes between threads. Both go through a lock or a mark of our own, so that ThreadSanitizer,
// which cannot see into a Qt that was built without it, knows who may touch what from when on.
//
//     runOn(pool, [job = std::move(job)] { … });                  // on a thread of the pool
//     callOnGuiThread([self = QPointer(this), answer] { … });     // later on the GUI thread, in the order of the calls
#pragma once

#include <functional>

class QThreadPool;

namespace espalier {

void runOn(QThreadPool* pool, std::function<void()> job);

// From any thread. What is still waiting when the application ends is dropped, never called; so is what comes after.
void callOnGuiThread(std::function<void()> call);

} // namespace espalier
