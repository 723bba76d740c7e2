// SPDX-License-Identifier: MIT
#include "app/support/work_queue.h"

namespace espalier {

void WorkQueue::enqueue(Waiting waiting)
{
    connect(waiting.work, &Work::cancelled, this, [this, work = waiting.work.data()] { drop(work); });
    m_waiting.push_back(std::move(waiting));
    if (m_running)
        count();
    else
        beginNext();
}

void WorkQueue::drop(Work* work)
{
    const auto at = std::ranges::find_if(m_waiting, [work](const Waiting& one) { return one.work == work; });
    if (at == m_waiting.end())
        return; // it runs already, and hears of it through its stop token
    const Waiting dropped = std::move(*at);
    m_waiting.erase(at);
    count();
    Q_EMIT work->ended();
    work->deleteLater();
    dropped.drop();
}

void WorkQueue::beginNext()
{
    m_running = !m_waiting.empty();
    m_work.clear();
    if (!m_running) {
        Q_EMIT idle();
        return;
    }
    const Waiting next = std::move(m_waiting.front());
    m_waiting.pop_front();
    m_work = next.work;
    count();
    next.begin();
}

void WorkQueue::count()
{
    if (m_work)
        m_work->setWaiting(int(m_waiting.size()));
}

} // namespace espalier
