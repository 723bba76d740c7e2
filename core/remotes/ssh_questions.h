// SPDX-License-Identifier: MIT
//
// What ssh asks while it connects (whether an unknown host key is the right one, a passphrase) goes to Access::askSsh, so that a
// window need not stand still for a question in a terminal that nobody looks at. ssh runs the program that SSH_ASKPASS names
// for each question and reads the answer from it (ssh(1), "ENVIRONMENT"); that program, Access::sshCarrier, takes the question
// over a socket that only this user can reach. What is accepted is kept by ssh itself, in its known hosts. Private to
// core/remotes but for carrySshQuestion().
//
//     SshQuestions questions(access, progress);
//     auto ssh = Conversation::start({.argv = command, .environment = questions.environment(), .interactive = true});
#pragma once

#include "core/git/progress.h"
#include "core/git/spawn.h"
#include "core/remotes/access.h"

#include <atomic>
#include <map>
#include <optional>
#include <string>
#include <thread>

namespace espalier {

class SshQuestions {
  public:
    // Answers on a thread of its own until it is destroyed; `access` and `progress` outlive it. Where nobody is there to answer,
    // or no socket can be made, it does nothing, and ssh asks as it does for git.
    SshQuestions(const Access& access, const Progress& progress);
    SshQuestions(const SshQuestions&) = delete;
    ~SshQuestions();

    // For the ssh program. A program that the user chose in SSH_ASKPASS stays, and is preferred to the terminal.
    std::map<std::string, std::optional<std::string>> environment() const;
    // Somebody was asked about a host key and did not vouch for it.
    bool hostRefused() const { return m_hostRefused; }

  private:
    void listen();
    void serve(std::stop_token stop);
    void answer(int peer);

    const Access& m_access;
    const Progress& m_progress;
    std::string m_folder, m_socket;
    Fd m_listening;
    bool m_chosenByUser = false;
    std::atomic<bool> m_hostRefused = false;
    std::jthread m_thread; // last: it uses all of the above
};

// Empty when it is not set.
std::string environmentVariable(const char* name);

// The other end, for the beginning of main(): when ssh runs this program to ask (the socket's name is in the environment), asks
// the question in argv[1], prints the answer and returns the exit status: 0, or 1 for no answer. Otherwise nothing.
std::optional<int> carrySshQuestion(int argc, char** argv);

} // namespace espalier
