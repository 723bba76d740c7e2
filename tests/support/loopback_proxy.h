// SPDX-License-Identifier: MIT
//
// A proxy on loopback for the tests of what a user has set about proxies.
//
//     Proxy proxy;   // http://127.0.0.1:<proxy.port()>
//     QVERIFY(proxy.carried() > 0);
#pragma once

#include <QtTest/QtTest>

#include <atomic>
#include <csignal>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace espalier::test {

// A proxy on loopback that carries what CONNECT asks for (RFC 9110, 9.3.6) to this machine, on a thread of its own.
class Proxy {
  public:
    enum class Answer { Carries, Forbidden };
    explicit Proxy(Answer answer = Answer::Carries) : m_answer(answer)
    {
        m_listens = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        sockaddr_in at{};
        at.sin_family = AF_INET;
        at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t size = sizeof at;
        if (::bind(m_listens, reinterpret_cast<sockaddr*>(&at), size) < 0 || ::listen(m_listens, 16) < 0 ||
            ::getsockname(m_listens, reinterpret_cast<sockaddr*>(&at), &size) < 0)
            qFatal("no proxy can be made");
        m_port = ntohs(at.sin_port);
        // A child's end is told by a signal, and that must not end what a thread of the proxy is doing.
        sigset_t all, before;
        sigfillset(&all);
        pthread_sigmask(SIG_SETMASK, &all, &before);
        m_thread = std::jthread([this] { accept(); });
        pthread_sigmask(SIG_SETMASK, &before, nullptr);
    }
    ~Proxy() { stop(); }
    Proxy(const Proxy&) = delete;
    int port() const { return m_port; }
    int carried() const { return m_carried; }
    void stop()
    {
        ::shutdown(m_listens, SHUT_RDWR);
        if (m_thread.joinable())
            m_thread.join();
        if (m_listens >= 0)
            ::close(std::exchange(m_listens, -1));
    }

  private:
    void accept()
    {
        std::vector<std::jthread> all;
        for (;;) {
            const int client = ::accept4(m_listens, nullptr, nullptr, SOCK_CLOEXEC);
            if (client >= 0)
                all.emplace_back([this, client] { carry(client); });
            else if (errno != EINTR)
                return;
        }
    }
    void carry(int client)
    {
        std::string asked;
        for (char byte; !asked.ends_with("\r\n\r\n") && ::read(client, &byte, 1) == 1;)
            asked += byte;
        const std::size_t colon = asked.find(':');
        sockaddr_in at{};
        at.sin_family = AF_INET;
        at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        at.sin_port = htons(std::uint16_t(colon == std::string::npos ? 0 : std::atoi(asked.c_str() + colon + 1)));
        const int server = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        constexpr std::string_view yes = "HTTP/1.1 200 Connection established\r\n\r\n",
                                   no = "HTTP/1.1 403 Forbidden\r\nContent-Length: 0\r\n\r\n";
        if (m_answer == Answer::Forbidden)
            std::ignore = ::write(client, no.data(), no.size());
        else if (asked.starts_with("CONNECT ") && ::connect(server, reinterpret_cast<sockaddr*>(&at), sizeof at) == 0 &&
                 ::write(client, yes.data(), yes.size()) == ssize_t(yes.size())) {
            ++m_carried;
            pump(client, server);
        }
        ::close(server);
        ::close(client);
    }
    static void pump(int one, int other)
    {
        pollfd both[]{{one, POLLIN, 0}, {other, POLLIN, 0}};
        for (char part[1 << 14]; ::poll(both, 2, -1) > 0;)
            for (const auto& [from, to] : {std::pair(0, 1), std::pair(1, 0)}) {
                if (!both[from].revents)
                    continue;
                const ssize_t got = ::read(both[from].fd, part, sizeof part);
                if (got <= 0 || ::send(both[to].fd, part, std::size_t(got), MSG_NOSIGNAL) != got)
                    return;
            }
    }
    Answer m_answer;
    int m_listens = -1, m_port = 0;
    std::atomic<int> m_carried = 0;
    std::jthread m_thread;
};

} // namespace espalier::test
