// SPDX-License-Identifier: MIT
#include "app/support/hand_over.h"

#include <QCoreApplication>
#include <QEvent>
#include <QRunnable>
#include <QThreadPool>

#include <deque>
#include <mutex>

#if defined(__SANITIZE_THREAD__)
#include <sanitizer/tsan_interface.h>
#endif

namespace espalier {

namespace {

// What was written before marking() is read after marked() by whoever got `at` from Qt.
void marking([[maybe_unused]] void* at)
{
#if defined(__SANITIZE_THREAD__)
    __tsan_release(at);
#endif
}

void marked([[maybe_unused]] void* at)
{
#if defined(__SANITIZE_THREAD__)
    __tsan_acquire(at);
#endif
}

class Job : public QRunnable {
  public:
    explicit Job(std::function<void()> job) : m_job(std::move(job)) {}
    void run() override
    {
        marked(this);
        m_job();
    }

  private:
    std::function<void()> m_job;
};

// Qt only wakes the GUI thread; what is called comes from the queue.
class Calls : public QObject {
  public:
    static Calls& instance()
    {
        static Calls* const calls = new Calls; // never destroyed: threads may outlive the application
        return *calls;
    }

    void add(std::function<void()> call)
    {
        const std::scoped_lock lock(m_mutex);
        if (m_closed || !QCoreApplication::instance())
            return;
        m_waiting.push_back(std::move(call));
        auto* event = new QEvent(wake());
        marking(event);
        QCoreApplication::postEvent(this, event);
    }

  protected:
    bool event(QEvent* event) override
    {
        marked(event);
        if (event->type() != wake())
            return QObject::event(event);
        std::function<void()> call;
        {
            const std::scoped_lock lock(m_mutex);
            if (m_waiting.empty())
                return true;
            call = std::move(m_waiting.front());
            m_waiting.pop_front();
        }
        call();
        return true;
    }

  private:
    Calls()
    {
        moveToThread(QCoreApplication::instance()->thread());
        qAddPostRoutine([] { instance().close(); });
    }

    static QEvent::Type wake()
    {
        static const auto type = QEvent::Type(QEvent::registerEventType());
        return type;
    }

    void close()
    {
        std::deque<std::function<void()>> dropped; // goes after the lock: what is dropped may call back
        const std::scoped_lock lock(m_mutex);
        m_closed = true;
        dropped.swap(m_waiting);
    }

    std::mutex m_mutex;
    std::deque<std::function<void()>> m_waiting;
    bool m_closed = false;
};

} // namespace

void runOn(QThreadPool* pool, std::function<void()> job)
{
    auto* runnable = new Job(std::move(job)); // the pool deletes it
    marking(runnable);
    pool->start(runnable);
}

void callOnGuiThread(std::function<void()> call)
{
    if (QCoreApplication::instance())
        Calls::instance().add(std::move(call));
}

} // namespace espalier
