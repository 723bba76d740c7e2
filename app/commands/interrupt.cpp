// SPDX-License-Identifier: MIT
#include "app/commands/interrupt.h"

#include <unistd.h>

namespace espalier {

Interrupt::Interrupt()
{
    // Wakes the main thread out of a question on the terminal; what it does is nothing.
    struct sigaction wake{};
    wake.sa_handler = [](int) {};
    ::sigaction(SIGUSR1, &wake, nullptr);
    sigemptyset(&m_signals);
    sigaddset(&m_signals, SIGINT);
    sigaddset(&m_signals, SIGTERM);
    ::pthread_sigmask(SIG_BLOCK, &m_signals, &m_before);
    m_listener = std::thread([this, main = ::pthread_self()] { listen(main); });
}

Interrupt::~Interrupt()
{
    m_over.request_stop();
    ::pthread_kill(m_listener.native_handle(), SIGTERM);
    m_listener.join();
    ::pthread_sigmask(SIG_SETMASK, &m_before, nullptr);
}

void Interrupt::listen(pthread_t main)
{
    int number = 0;
    while (::sigwait(&m_signals, &number) == 0 && !m_over.stop_requested()) {
        if (!m_stop.request_stop())
            ::_exit(128 + number);
        ::pthread_kill(main, SIGUSR1);
    }
}

} // namespace espalier
