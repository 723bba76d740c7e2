// SPDX-License-Identifier: MIT
//
// Runs core work off the GUI thread. Every job can be cancelled, reports progress, and answers on the GUI thread; a job
// whose receiver has gone answers nobody and is stopped.
//
//     startWork<SnapshotPtr>(this, tr("Reading the repository"),
//         [path](const Progress& progress) -> Result<SnapshotPtr> { … },     // on a worker thread; opens its own Repository
//         [this](Result<SnapshotPtr> result) { … });                        // on the GUI thread
//
// Works that must not run at the same time go through a WorkQueue (work_queue.h).
#pragma once

#include "app/support/hand_over.h"
#include "core/git/error.h"
#include "core/git/progress.h"

#include <QObject>
#include <QPointer>
#include <QString>
#include <QThreadPool>

#include <memory>
#include <stop_token>

namespace espalier {

// A running job as the window shows it. Owned by its receiver; deletes itself when the job has ended.
class Work : public QObject {
    Q_OBJECT
  public:
    Work(QObject* receiver, QString title);
    ~Work() override;

    const QString& title() const { return m_title; }
    QString step() const { return m_step; }
    // 0 to 1; -1 while it is not known.
    double fraction() const { return m_fraction; }
    // How many works wait for this one to end (see WorkQueue).
    int waiting() const { return m_waiting; }
    void setWaiting(int count);
    void cancel();
    bool isCancelled() const { return m_stop.stop_requested(); }
    // What the job gets; safe to use from the worker thread for as long as the job runs.
    Progress progress();

  Q_SIGNALS:
    void progressed();
    void cancelled(); // it was asked to stop; it may still be running
    void ended();

  private:
    std::stop_source m_stop;
    QString m_title;
    QString m_step;
    double m_fraction = -1;
    int m_waiting = 0;
};

// Patient: takes minutes, and nobody waits for it.
enum class WorkPriority { Shown, Background, Patient };

// Jobs of a pool of their own, so that background forecasts never delay what the user waits for.
QThreadPool* workPool(WorkPriority priority);

// Tells whoever shows progress (the main window) that a job began; emitted on the GUI thread.
class WorkBoard : public QObject {
    Q_OBJECT
  public:
    static WorkBoard* instance();
  Q_SIGNALS:
    void began(Work* work);
};

// Runs `job` for a work that was made before; startWork() is what is mostly wanted.
template <typename T, typename Job, typename Then> void runWork(Work* work, Job job, Then then, WorkPriority priority)
{
    // `then` belongs to the GUI thread and stays with the work until the answer is there; with the work it goes.
    auto answer = std::make_shared<Then>(std::move(then));
    runOn(workPool(priority), [work = QPointer<Work>(work), job = std::move(job), progress = work->progress(),
                               answer = std::weak_ptr<Then>(answer)]() mutable {
        auto result = std::make_shared<Result<T>>(job(progress));
        callOnGuiThread([work = std::move(work), result = std::move(result), answer = std::move(answer)] {
            const std::shared_ptr<Then> here = answer.lock();
            if (!work || !here)
                return;
            Q_EMIT work->ended();
            work->deleteLater();
            (*here)(std::move(*result));
        });
    });
    QObject::connect(work, &QObject::destroyed, [answer = std::move(answer)] {});
    if (priority == WorkPriority::Shown)
        Q_EMIT WorkBoard::instance()->began(work);
}

template <typename T, typename Job, typename Then>
QPointer<Work> startWork(QObject* receiver, const QString& title, Job job, Then then,
                         WorkPriority priority = WorkPriority::Shown)
{
    QPointer<Work> work = new Work(receiver, title);
    runWork<T>(work, std::move(job), std::move(then), priority);
    return work;
}

} // namespace espalier
