// SPDX-License-Identifier: MIT
//
// What git and ssh ask while they connect (a login, whether an unknown host key is the right one, a passphrase) goes to Access, so
// that a window need not stand still for a question in a terminal that nobody looks at. They run the program that GIT_ASKPASS and
// SSH_ASKPASS name for each question and read the answer from it (git(1), ssh(1), "ENVIRONMENT"); that program, Access::carrier,
// takes the question over a socket that only this user can reach. What is accepted is kept by ssh and git's credential helpers;
// here an answer is kept in memory for the further connections of one piece of work. Private to core/remotes but for
// carrySshQuestion().
//
//     SshQuestions questions(access, progress, askPassIsSet);
//     questions.nextProgram(); run({.argv = command, .environment = questions.environment()});
#pragma once

#include "core/git/progress.h"
#include "core/git/spawn.h"
#include "core/remotes/access.h"

#include <atomic>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <thread>

namespace espalier {

class SshQuestions {
  public:
    // Answers on a thread of its own until it is destroyed; `access` and `progress` outlive it. Where nobody is there to answer,
    // or no socket can be made, it does nothing, and ssh asks as it does for git.
    // `askPassIsSet`: git's own settings name a program that asks for logins, which stays.
    SshQuestions(const Access& access, const Progress& progress, bool askPassIsSet);
    SshQuestions(const SshQuestions&) = delete;
    ~SshQuestions();

    // For git and ssh. A program that the user chose to ask stays, and is preferred to the terminal.
    std::map<std::string, std::optional<std::string>> environment() const;
    // Another program is started: what was answered to the one before holds for it, too, unless `refused`.
    void nextProgram(bool refused = false);
    // Who is meant where the program that runs next asks for a password at `host` ("scheme://host") and names nobody.
    void knowName(const std::string& host, const std::string& user);
    // Whether the program may ask on the terminal: nobody else is there to answer.
    bool leavesTerminal() const { return m_access.sshCarrier.empty(); }
    // Somebody was asked for a login and gave one.
    bool gaveLogin() const { return m_gaveLogin; }
    // Somebody was asked about a host key and did not vouch for it.
    bool hostRefused() const { return m_hostRefused; }

  private:
    void listen();
    void serve(const std::stop_token& stop);
    void answer(int peer);
    std::optional<std::string> answerTo(const std::string& prompt, const std::string& words);
    std::optional<std::string> loginFor(const std::string& words);

    const Access& m_access;
    const Progress& m_progress;
    std::string m_folder, m_socket;
    Fd m_listening;
    bool m_chosenByUser = false, m_gitChosenByUser = false;
    std::atomic<bool> m_hostRefused = false, m_gaveLogin = false;
    std::mutex m_mutex;                           // of the answers
    std::map<std::string, std::string> m_answers; // by question
    std::set<std::string> m_told;                 // to the program that runs now
    std::optional<Login> m_login;
    std::string m_loginUrl;
    std::string m_knownHost, m_knownName;
    bool m_named = false;  // the program that runs now was told the login's name
    std::jthread m_thread; // last: it uses all of the above
};

// Empty when it is not set.
std::string environmentVariable(const char* name);

// The other end, for the beginning of main(): when ssh runs this program to ask (the socket's name is in the environment), asks
// the question in argv[1], prints the answer and returns the exit status: 0, or 1 for no answer. Otherwise nothing.
std::optional<int> carrySshQuestion(int argc, char** argv);

} // namespace espalier
