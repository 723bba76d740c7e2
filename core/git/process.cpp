// SPDX-License-Identifier: MIT
#include "core/git/process.h"

#include "core/git/child.h"
#include "core/git/text.h"

namespace espalier {

namespace {

using std::chrono::milliseconds;

// Gives it its input and takes what it writes; true when any bytes moved.
class Exchange {
  public:
    Exchange(Child& child, const ProcessRequest& request, const std::function<void(std::string_view)>& heard,
             ProcessResult& result)
        : m_child(child), m_request(request), m_heard(heard), m_result(result)
    {
        if (request.input.empty())
            child.in().close();
    }

    bool move()
    {
        const bool fed = feed();
        const bool out = drain(m_child.out(), m_result.out);
        const std::size_t before = m_result.err.size();
        const bool err = drain(m_child.err(), m_result.err);
        if (err && m_heard)
            m_heard(std::string_view(m_result.err).substr(before));
        return fed || out || err;
    }

  private:
    bool feed()
    {
        const std::size_t count = m_child.write(std::string_view(m_request.input).substr(m_fed));
        m_fed += count;
        if (m_fed == m_request.input.size())
            m_child.in().close();
        return count > 0;
    }
    bool drain(Fd& from, std::string& into)
    {
        char buffer[65536];
        const std::size_t count = m_child.read(from, buffer, sizeof buffer);
        into.append(buffer, count);
        return count > 0;
    }

    Child& m_child;
    const ProcessRequest& m_request;
    const std::function<void(std::string_view)>& m_heard;
    ProcessResult& m_result;
    std::size_t m_fed = 0;
};

} // namespace

std::string ProcessResult::lastWords() const
{
    std::string_view rest = err;
    while (!rest.empty()) {
        const std::size_t end = rest.rfind('\n');
        std::string_view line = end == std::string_view::npos ? rest : rest.substr(end + 1);
        rest = end == std::string_view::npos ? std::string_view() : rest.substr(0, end);
        while (!line.empty() && (line.back() == ' ' || line.back() == '\r' || line.back() == '.'))
            line.remove_suffix(1);
        if (!line.empty())
            return displayText(line, 300);
    }
    return {};
}

Result<ProcessResult> run(const ProcessRequest& request, const std::function<void(std::string_view)>& heard)
{
    if (request.argv.empty() || request.argv.front().empty())
        return fail(ErrorKind::Usage, "No program is named", {}, "Correct the setting of git that names it");
    if (request.stop.stop_requested())
        return cancelled();
    auto child = Child::start(request);
    if (!child)
        return std::unexpected(child.error());
    ProcessResult result;
    Exchange exchange(*child, request, heard, result);
    for (;;) {
        const bool had = child->hasEnded();
        if (had && !child->out().isOpen() && !child->err().isOpen())
            break;
        child->wait(request.stop, Child::Wants::InputToo, had ? milliseconds(100) : milliseconds(60000));
        const bool moved = exchange.move();
        if (request.stop.stop_requested())
            return cancelled();
        if (result.out.size() > request.outputLimit || result.err.size() > request.outputLimit)
            return fail(ErrorKind::Broken, "A program wrote more than it should", request.argv.front(),
                        "It was stopped; run it by hand to see why");
        // What it left running in the background may hold the pipes open for ever: quiet after its end is the end.
        if (had && !moved)
            break;
    }
    result.exitCode = child->exitCode();
    return result;
}

std::vector<std::string> shellCommand(const std::string& commandLine, const std::vector<std::string>& arguments)
{
    std::vector<std::string> argv{"sh", "-c", arguments.empty() ? commandLine : commandLine + " \"$@\"", commandLine};
    argv.insert(argv.end(), arguments.begin(), arguments.end());
    return argv;
}

std::string shellQuoted(std::string_view word)
{
    std::string quoted = "'";
    for (const char c : word) {
        // A csh at the other end of ssh takes an exclamation mark for itself even in quotes (git's quote.c).
        if (c == '\'' || c == '!')
            quoted += std::string("'\\") + c + '\'';
        else
            quoted += c;
    }
    return quoted + '\'';
}

} // namespace espalier
