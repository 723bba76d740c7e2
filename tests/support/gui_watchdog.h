// SPDX-License-Identifier: MIT
//
// How long the GUI thread stays away from its event loop: until the loop comes round again no key is answered and nothing is
// painted. Counted in the thread's own processor time, so that another program's work makes nothing look slow; what it waited
// for beside that is reported, not judged.
//
//     GuiWatchdog watchdog;
//     watchdog.begin("gathering");
//     view.gatherFor(source);                     // what the test calls itself counts as well
//     QTRY_VERIFY(view.isGathered());
//     QVERIFY2(watchdog.tooLong().isEmpty(), qPrintable(watchdog.tooLong()));
#pragma once

#include <QObject>
#include <QString>

#include <vector>

namespace espalier::test {

class GuiWatchdog : public QObject {
    Q_OBJECT
  public:
    // Milliseconds that are not noticed.
    static constexpr double limit = 50;
    // How much longer everything takes in this build than in one that is optimised; 0 when nothing can be said (sanitizers).
    static double slowness();

    // Watches the thread that it is made on, which has an event loop.
    explicit GuiWatchdog(QObject* parent = nullptr);
    ~GuiWatchdog() override;

    // What follows belongs to this step of a test, until the next one begins. Before the first nothing is watched.
    void begin(const QString& step);
    // Nothing is watched until the next step begins.
    void pause();

    struct Away {
        QString step;
        double milliseconds = 0; // of processor time
        double waited = 0;       // milliseconds that passed beside it
        QString by;              // the event that took most of it, and who got that
    };
    // The longest of each step, in the order of the steps.
    const std::vector<Away>& longest() const { return m_longest; }
    // A line for each step that was away for longer than the limit times slowness(); empty when none was.
    QString tooLong() const;
    // A line for each step.
    QString report() const;

  protected:
    bool eventFilter(QObject* watched, QEvent* event) override;

  private:
    void comeRound();
    void endEvent(double now);
    static QString line(const Away& away);

    bool m_watches = false;
    std::vector<Away> m_longest;
    double m_since = 0, m_sinceByClock = 0; // when the loop came round last
    // Of the event that is being answered, and of the longest one since then.
    double m_eventSince = 0, m_longestEvent = 0;
    QString m_event, m_longestBy;
};

} // namespace espalier::test
