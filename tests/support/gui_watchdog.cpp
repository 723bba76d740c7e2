// SPDX-License-Identifier: MIT
#include "tests/support/gui_watchdog.h"

#include <QAbstractEventDispatcher>
#include <QCoreApplication>
#include <QEvent>
#include <QMetaEnum>

#include <ctime>

namespace espalier::test {

namespace {

double milliseconds(clockid_t clock)
{
    timespec now{};
    ::clock_gettime(clock, &now);
    return double(now.tv_sec) * 1000 + double(now.tv_nsec) / 1e6;
}

double processorTime() { return milliseconds(CLOCK_THREAD_CPUTIME_ID); }

QString nameOf(const QObject* object, const QEvent* event)
{
    const char* type = QMetaEnum::fromType<QEvent::Type>().valueToKey(event->type());
    QString name = QString::fromLatin1(type ? type : "an event") + QStringLiteral(" of ") +
                   QString::fromLatin1(object->metaObject()->className());
    if (!object->objectName().isEmpty())
        name += QStringLiteral(" \"%1\"").arg(object->objectName());
    return name;
}

} // namespace

double GuiWatchdog::slowness()
{
#if defined(ESPALIER_SANITIZED)
    return 0;
#elif defined(ESPALIER_OPTIMISED)
    return 1;
#else
    return 5;
#endif
}

GuiWatchdog::GuiWatchdog(QObject* parent) : QObject(parent)
{
    // Both are where the loop comes round: whichever of them this platform's loop emits before and after it looks for events.
    const QAbstractEventDispatcher* loop = QAbstractEventDispatcher::instance();
    connect(loop, &QAbstractEventDispatcher::awake, this, &GuiWatchdog::comeRound);
    connect(loop, &QAbstractEventDispatcher::aboutToBlock, this, &GuiWatchdog::comeRound);
    QCoreApplication::instance()->installEventFilter(this);
}

GuiWatchdog::~GuiWatchdog() = default;

void GuiWatchdog::begin(const QString& step)
{
    if (m_watches)
        comeRound();
    m_longest.push_back({step, 0, 0, {}});
    m_longestEvent = 0;
    m_longestBy.clear();
    m_event = QStringLiteral("the test's own calls");
    m_since = m_eventSince = processorTime();
    m_sinceByClock = milliseconds(CLOCK_MONOTONIC);
    m_watches = true;
}

void GuiWatchdog::pause()
{
    if (m_watches)
        comeRound();
    m_watches = false;
}

void GuiWatchdog::endEvent(double now)
{
    if (now - m_eventSince > m_longestEvent) {
        m_longestEvent = now - m_eventSince;
        m_longestBy = m_event;
    }
    m_eventSince = now;
}

void GuiWatchdog::comeRound()
{
    if (!m_watches)
        return;
    const double now = processorTime(), clock = milliseconds(CLOCK_MONOTONIC);
    endEvent(now);
    Away& longest = m_longest.back();
    if (now - m_since > longest.milliseconds) {
        longest.milliseconds = now - m_since;
        longest.waited = std::max(0.0, clock - m_sinceByClock - longest.milliseconds);
        longest.by = m_longestBy;
    }
    m_longestEvent = 0;
    m_event = QStringLiteral("the test's own calls");
    m_since = m_eventSince = processorTime();
    m_sinceByClock = clock;
}

bool GuiWatchdog::eventFilter(QObject* watched, QEvent* event)
{
    if (m_watches) {
        endEvent(processorTime());
        m_event = nameOf(watched, event);
    }
    return QObject::eventFilter(watched, event);
}

QString GuiWatchdog::line(const Away& away)
{
    return QStringLiteral("%1: %2 ms, most of it in %3").arg(away.step).arg(away.milliseconds, 0, 'f', 1).arg(away.by);
}

QString GuiWatchdog::tooLong() const
{
    QStringList lines;
    for (const Away& away : m_longest)
        if (away.milliseconds > limit * slowness())
            lines << line(away);
    return lines.join(QLatin1Char('\n'));
}

QString GuiWatchdog::report() const
{
    QStringList lines;
    for (const Away& away : m_longest)
        lines << line(away) + QStringLiteral(" (and %1 ms waiting)").arg(away.waited, 0, 'f', 0);
    return lines.join(QLatin1Char('\n'));
}

} // namespace espalier::test
