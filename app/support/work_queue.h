// SPDX-License-Identifier: MIT
//
// Works that must never run at the same time, such as those that write to one repository: each begins when the one before
// it has answered, in the order they were asked for. A work that is cancelled while it waits is answered at once with
// Cancelled and never runs.
//
//     queue->add<Applied>(tr("Applying"), job, [this](Result<Applied> applied) { … });     // as startWork()
#pragma once

#include "app/support/work.h"

#include <deque>
#include <functional>

namespace espalier {

// As the queue goes, so do its works: what runs is stopped, what waits never runs, and nobody is answered.
class WorkQueue : public QObject {
    Q_OBJECT
  public:
    using QObject::QObject;

    template <typename T, typename Job, typename Then>
    QPointer<Work> add(const QString& title, Job job, const Then& then, WorkPriority priority = WorkPriority::Shown)
    {
        QPointer<Work> work = new Work(this, title);
        const auto begin = [this, work, job = std::move(job), then, priority] {
            const auto answer = [this, then](Result<T> result) {
                then(std::move(result));
                beginNext();
            };
            runWork<T>(work, job, answer, priority);
        };
        enqueue({work, begin, [then] { then(cancelled()); }});
        return work;
    }

    // Nothing runs and nothing waits.
    bool isIdle() const { return !m_running; }

  Q_SIGNALS:
    void idle();

  private:
    struct Waiting {
        QPointer<Work> work;
        std::function<void()> begin;
        std::function<void()> drop;
    };
    void enqueue(Waiting waiting);
    void drop(Work* work);
    void beginNext();
    void count();

    std::deque<Waiting> m_waiting;
    QPointer<Work> m_work; // the running one
    bool m_running = false;
};

} // namespace espalier
