// SPDX-License-Identifier: MIT
#include "app/support/work.h"

#include "app/support/hand_over.h"

#include <QThread>
#include <QThreadPool>

namespace espalier {

Work::Work(QObject* receiver, QString title) : QObject(receiver), m_title(std::move(title)) {}

Work::~Work() { m_stop.request_stop(); }

void Work::cancel()
{
    if (m_stop.request_stop())
        Q_EMIT cancelled();
}

void Work::setWaiting(int count)
{
    if (m_waiting == count)
        return;
    m_waiting = count;
    Q_EMIT progressed();
}

Progress Work::progress()
{
    Progress progress;
    progress.stop = m_stop.get_token();
    // The job may outlive this object: what it tells then is dropped on the GUI thread, where the pointer is checked.
    progress.tell = [work = QPointer<Work>(this)](std::string_view step, std::uint64_t done, std::uint64_t total) {
        callOnGuiThread([work, text = QString::fromUtf8(step.data(), qsizetype(step.size())), done, total] {
            if (!work)
                return;
            work->m_step = text;
            work->m_fraction = total == 0 ? -1 : double(done) / double(total);
            Q_EMIT work->progressed();
        });
    };
    return progress;
}

QThreadPool* workPool(WorkPriority priority)
{
    struct Pools {
        QThreadPool shown, background, patient;
        Pools()
        {
            shown.setMaxThreadCount(4);
            background.setMaxThreadCount(std::max(1, QThread::idealThreadCount() - 1));
            background.setThreadPriority(QThread::LowPriority);
            patient.setMaxThreadCount(1);
            patient.setThreadPriority(QThread::LowestPriority);
        }
    };
    static Pools pools;
    return priority == WorkPriority::Shown        ? &pools.shown
           : priority == WorkPriority::Background ? &pools.background
                                                  : &pools.patient;
}

WorkBoard* WorkBoard::instance()
{
    static WorkBoard board;
    return &board;
}

} // namespace espalier
