// SPDX-License-Identifier: MIT
//
// While one of these lives, an interrupt from the terminal (SIGINT) or SIGTERM stops what the command is doing where it can be
// stopped, hooks too, instead of ending the program in the middle of it. A second one ends the program at once. One at a
// time, on the main thread, before any other thread is started. Private to app/commands.
//
//     const Interrupt interrupt;
//     auto applied = apply(*repository, *rewrite, interrupt.progress());
#pragma once

#include "core/git/progress.h"

#include <csignal>
#include <stop_token>
#include <thread>

namespace espalier {

class Interrupt {
  public:
    Interrupt();
    ~Interrupt();
    Interrupt(const Interrupt&) = delete;
    Interrupt& operator=(const Interrupt&) = delete;

    Progress progress() const { return {m_stop.get_token(), {}}; }

  private:
    void listen(pthread_t main);

    std::stop_source m_stop;
    sigset_t m_signals{}, m_before{};
    std::thread m_listener;
    std::stop_source m_over;
};

} // namespace espalier
