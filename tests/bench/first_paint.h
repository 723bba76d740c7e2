// SPDX-License-Identifier: MIT
//
// Says how long after a moment given as nanoseconds since 1970 (by whoever started the program) a widget has been painted,
// and ends the program.
#pragma once

#include <QApplication>
#include <QEvent>
#include <QTimer>
#include <QWidget>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <functional>

namespace espalier::bench {

class FirstPaint : public QObject {
  public:
    // `counts` is asked about the painted widget; the first paint that counts ends the program.
    FirstPaint(long long started, std::function<bool(QWidget*)> counts)
        : m_started(started), m_counts(std::move(counts))
    {
        qApp->installEventFilter(this);
    }
    bool eventFilter(QObject* watched, QEvent* event) override
    {
        auto* widget = event->type() == QEvent::Paint ? qobject_cast<QWidget*>(watched) : nullptr;
        if (widget && !m_done && m_counts(widget)) {
            m_done = true;
            // After this round of painting has been handed to the screen.
            QTimer::singleShot(0, [this] {
                const auto now = std::chrono::system_clock::now().time_since_epoch();
                std::printf("%.3f\n", double(std::chrono::nanoseconds(now).count() - m_started) / 1e9);
                std::fflush(stdout);
                std::_Exit(0);
            });
        }
        return false;
    }

  private:
    long long m_started;
    std::function<bool(QWidget*)> m_counts;
    bool m_done = false;
};

} // namespace espalier::bench
