// SPDX-License-Identifier: MIT
//
// The whole job in the real window, as a user does it: open the sample same-lines, drag the topic branch onto upstream's
// main line, settle, apply, overwrite check, push, take it back. The test looks at each step, the picture maker keeps it.
//
//     WholeJob job(window, clonePath);
//     job.run([&](const QString& step) { keep(window, step); });
//     if (!job.problem().isEmpty()) …
//
// A drag between widgets runs an event loop of the platform's own that the offscreen platform does not have; the drag is
// therefore given to the graph as the enter, move and drop events that the platform would send, with the data of a row of
// the drift board.
#pragma once

#include "app/window/main_window.h"

#include <functional>

class QAbstractButton;

namespace espalier::test {

// Lets the window work until `done`, at most `milliseconds`; false when it did not come about.
bool waitFor(const std::function<bool()>& done, int milliseconds = 30000);
// The visible, enabled button below `in` with this text (mnemonics left out) or object name; null when there is none.
QAbstractButton* findButton(QWidget* in, const QString& nameOrText);
bool clickButton(QWidget* in, const QString& nameOrText);

class WholeJob {
  public:
    WholeJob(MainWindow& window, QString clonePath) : m_window(window), m_path(std::move(clonePath)) {}

    // Calls `tell` after each step, with its name: "open", "drag", "dry-run", "settle", "settled", "ready", "applied",
    // "overwrite-check", "pushed", "logbook", "restored". Stops at the first step that does not come about.
    void run(const std::function<void(const QString& step)>& tell);
    // Which step did not come about; empty when all did.
    QString problem() const { return m_problem; }
    int hunksSettled() const { return m_hunks; }

  private:
    bool open();
    bool drag(const std::function<void(const QString&)>& look);
    bool settle(const std::function<void(const QString&)>& look);
    bool apply();
    bool check();
    bool push();
    bool restore(const std::function<void(const QString&)>& look);

    MainWindow& m_window;
    QString m_path;
    QString m_problem;
    int m_hunks = 0;
};

} // namespace espalier::test
