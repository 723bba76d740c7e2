// SPDX-License-Identifier: MIT
#include "core/git/conversation.h"

#include "core/git/child.h"

namespace espalier {

namespace {

using std::chrono::milliseconds;

constexpr std::size_t maxErrors = 1 << 16;
constexpr auto silenceLimit = std::chrono::minutes(5);
constexpr milliseconds quiet(100); // after its end: what it left running may hold its pipes open for ever
constexpr milliseconds farewell(10000);

std::unexpected<Error> closed()
{
    return fail(ErrorKind::Network, "The other side closed the connection", {}, "Try again");
}

} // namespace

struct Conversation::State {
    Child child;
};

Result<Conversation> Conversation::start(const ProcessRequest& request)
{
    auto child = Child::start(request);
    if (!child)
        return std::unexpected(child.error());
    return Conversation(std::make_unique<State>(std::move(*child)));
}

Conversation::Conversation(std::unique_ptr<State> state) : d(std::move(state)) {}
Conversation::Conversation(Conversation&& other) noexcept = default;
Conversation::~Conversation() = default;

void Conversation::drainErrors()
{
    char buffer[4096];
    while (const std::size_t got = d->child.read(d->child.err(), buffer, sizeof buffer))
        m_errors.append(buffer, got);
    if (m_errors.size() > maxErrors)
        m_errors.erase(0, m_errors.size() - maxErrors);
}

// Tries again and again until it moves bytes, of which 0 are the end.
template <typename Move>
Result<std::size_t> Conversation::move(const Progress& progress, bool writes, const Move& attempt)
{
    const auto until = std::chrono::steady_clock::now() + silenceLimit;
    for (;;) {
        if (progress.stopped())
            return cancelled();
        const bool had = d->child.hasEnded();
        if (const std::size_t moved = attempt())
            return moved;
        drainErrors();
        const Fd& file = writes ? d->child.in() : d->child.out();
        if (!file.isOpen() || (had && writes))
            return 0;
        const auto left = std::chrono::duration_cast<milliseconds>(until - std::chrono::steady_clock::now());
        if (left.count() <= 0)
            return fail(ErrorKind::Network, "The other side has been silent for five minutes", {}, "Try again later");
        d->child.wait(progress.stop, writes ? Child::Wants::InputToo : Child::Wants::Output, had ? quiet : left);
        if (had)
            return attempt();
    }
}

Result<std::size_t> Conversation::read(char* buffer, std::size_t size, const Progress& progress)
{
    return move(progress, false, [&] { return d->child.read(d->child.out(), buffer, size); });
}

Result<void> Conversation::write(std::string_view bytes, const Progress& progress)
{
    while (!bytes.empty()) {
        const auto sent = move(progress, true, [&] { return d->child.write(bytes); });
        if (!sent)
            return std::unexpected(sent.error());
        if (*sent == 0)
            return closed();
        bytes.remove_prefix(*sent);
    }
    return {};
}

void Conversation::closeInput() { d->child.in().close(); }

int Conversation::wait()
{
    closeInput();
    const auto until = std::chrono::steady_clock::now() + farewell;
    char nobodyReads[4096];
    while (!d->child.hasEnded() && std::chrono::steady_clock::now() < until) {
        d->child.wait({}, Child::Wants::Output, quiet);
        drainErrors();
        while (d->child.read(d->child.out(), nobodyReads, sizeof nobodyReads) > 0) {
        }
    }
    d->child.end();
    drainErrors();
    return d->child.exitCode();
}

} // namespace espalier
