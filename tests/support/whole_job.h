// SPDX-License-Identifier: MIT
//
// The whole job in the real window, as a user does it: open the sample same-lines, replay the topic branch onto upstream's
// main line, settle, apply, overwrite check, push, take it back. What is to be done and to come about is said once, here;
// MouseJob and KeyboardJob say how a hand does it.
//
//     MouseJob job(window, clonePath);
//     job.run([&](const QString& step) { look(window, step); });
//     if (!job.problem().isEmpty()) …
#pragma once

#include "app/window/main_window.h"

#include <functional>

class QAbstractButton;
class QAbstractItemView;

namespace espalier::test {

// Lets the window work until `done`, at most `milliseconds`; false when it did not come about.
bool waitFor(const std::function<bool()>& done, int milliseconds = 30000);
// The visible, enabled button below `in` with this text (mnemonics left out) or object name; null when there is none.
QAbstractButton* findButton(QWidget* in, const QString& nameOrText);
bool clickButton(QWidget* in, const QString& nameOrText);
// All columns of a row, a space between them.
QString rowText(const QAbstractItemView* view, int row);

class WholeJob {
  public:
    static constexpr const char* topicRef = "refs/heads/topic/metric-heights";
    using Look = std::function<void(const QString& step)>;

    WholeJob(MainWindow& window, QString clonePath) : m_window(window), m_path(std::move(clonePath)) {}
    virtual ~WholeJob() = default;

    // Calls `tell` after each step, with its name: "open", "drag" (by mouse), "dry-run", "settle", "settled", "ready",
    // "applied", "overwrite-check", "pushed", "logbook", "restored". Stops at the first step that does not come about.
    void run(const Look& tell);
    // Which step did not come about; empty when all did.
    QString problem() const { return m_problem; }
    int hunksSettled() const { return m_hunks; }

  protected:
    // What the hand does; false when it found nothing to do it with. The job then waits for what follows.
    virtual bool chooseTopic() = 0;
    virtual bool askForDryRun(const Look& look) = 0;
    virtual bool openSettlePage() = 0;
    // Decides the hunk that is shown, the `number`th from 0.
    virtual bool settleHunk(int number) = 0;
    // To the next undecided hunk, or back to the dry run when none is left.
    virtual bool goOn() = 0;
    virtual bool askToApply() = 0;
    virtual bool askForCheck() = 0;
    virtual bool askToPush() = 0;
    virtual bool openLogbook() = 0;
    // Takes back the newest entry whose row has `word` in it.
    virtual bool takeBack(const QString& word) = 0;

    QAbstractItemView* logbookEntries() const;

    MainWindow& m_window;

  private:
    bool open();
    bool settle(const Look& look);
    bool push();
    bool restore(const Look& look);
    // Acts, and waits until the session has said that something was done and has read the repository again.
    bool untilSaid(const std::function<bool()>& act);

    QString m_path;
    QString m_problem;
    int m_hunks = 0;
};

// A drag between widgets runs an event loop of the platform's own that the offscreen platform does not have; the drag is
// therefore given to the graph as the enter, move and drop events that the platform would send, with the data of a row of
// the drift board.
class MouseJob : public WholeJob {
  public:
    using WholeJob::WholeJob;

  protected:
    bool chooseTopic() override;
    bool askForDryRun(const Look& look) override;
    bool openSettlePage() override;
    bool settleHunk(int number) override;
    bool goOn() override;
    bool askToApply() override;
    bool askForCheck() override;
    bool askToPush() override;
    bool openLogbook() override;
    bool takeBack(const QString& word) override;
};

// Keys only, sent to whatever window has the focus, which they alone move.
class KeyboardJob : public WholeJob {
  public:
    using WholeJob::WholeJob;

    static constexpr const char* typedLine = "Heights are kept with their unit and shown in metres.";

  protected:
    bool chooseTopic() override;
    bool askForDryRun(const Look& look) override;
    bool openSettlePage() override;
    // The first by one of the four decisions, the others by typing.
    bool settleHunk(int number) override;
    bool goOn() override;
    bool askToApply() override;
    bool askForCheck() override;
    bool askToPush() override;
    bool openLogbook() override;
    bool takeBack(const QString& word) override;
};

} // namespace espalier::test
