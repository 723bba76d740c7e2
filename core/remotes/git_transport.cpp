// SPDX-License-Identifier: MIT
//
// The installed git as the way to a remote. What its commands write on this side is turned off one by one: refs, tags, FETCH_HEAD,
// pruning, maintenance.
#include "core/git/git_command.h"
#include "core/git/process_marks.h"
#include "core/git/text.h"
#include "core/history/places.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"
#include "core/remotes/git_words.h"
#include "core/remotes/ssh_questions.h"
#include "core/remotes/transport.h"
#include "core/remotes/url_secret.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

std::vector<std::string> linesOf(std::string_view text)
{
    std::vector<std::string> lines;
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size());
        lines.emplace_back(text.substr(0, end));
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return lines;
}

// git-ls-remote(1): "ref: refs/heads/main<tab>HEAD", then "id<tab>name".
Advertisement parseAdvertisement(std::string_view text)
{
    Advertisement seen;
    for (const std::string& line : linesOf(text)) {
        const std::size_t tab = line.find('\t');
        if (tab == std::string::npos)
            continue;
        const std::string name = line.substr(tab + 1);
        constexpr std::string_view symbolic = "ref: ";
        if (line.starts_with(symbolic) && name == "HEAD")
            seen.defaultBranch = line.substr(symbolic.size(), tab - symbolic.size());
        else if (const auto id = Oid::parse(std::string_view(line).substr(0, tab)))
            seen.refs[name] = *id;
    }
    return seen;
}

// git-push(1), "OUTPUT", with --porcelain: "flag<tab>from:to<tab>summary (reason)".
std::map<std::string, RefAnswer> parseAnswers(std::string_view text)
{
    std::map<std::string, RefAnswer> answers;
    bool begun = false;
    for (const std::string& line : linesOf(text)) {
        begun = begun || line.starts_with("To ");
        const std::size_t second = line.find('\t', 2), colon = line.rfind(':', second);
        if (!begun || line.size() < 4 || line[1] != '\t' || second == std::string::npos || colon == std::string::npos)
            continue;
        const std::string summary = line.substr(second + 1);
        RefAnswer answer{RefAnswer::Kind::Taken, {}};
        if (line[0] == '!') {
            answer.kind = summary.starts_with("[remote rejected]")  ? RefAnswer::Kind::RefusedThere
                          : summary.starts_with("[remote failure]") ? RefAnswer::Kind::Unknown
                                                                    : RefAnswer::Kind::RefusedHere;
            const std::size_t from = summary.find('('), to = summary.rfind(')');
            answer.reason = from != std::string::npos && to > from ? summary.substr(from + 1, to - from - 1) : summary;
        }
        answers[line.substr(colon + 1, second - colon - 1)] = std::move(answer);
    }
    return answers;
}

// Whether a push failed before anything could be asked of the other side: what git says when the first contact fails it says of
// nothing later (git's connect.c and remote-curl.c).
bool wasNothingSent(const GitWords& words)
{
    constexpr std::array contacts{"Could not read from remote repository",
                                  "the remote end hung up upon initial contact", "unable to access '",
                                  "unable to connect to ", "unable to look up "};
    return std::ranges::any_of(contacts, [&](const char* contact) { return words.hasOwn(contact); });
}

// How git is run for one piece of work: with whom to ask, and without secrets in its arguments.
class GitRunner {
  public:
    GitRunner(const Repository* repository, const Access& access, const Progress& progress)
        : m_repository(repository)
        , m_progress(progress)
        , m_questions(access, progress, repository && !repository->config("core.askPass").value_or("").empty())
    {
    }

    void mark(std::pair<std::string, std::string> mark) { m_environment.insert(std::move(mark)); }
    void set(std::string key, std::string value) { m_config.emplace_back(std::move(key), std::move(value)); }

    // Runs it to its end; `words` get what it says. A login that was typed and not taken is asked for again, twice. `with`: the
    // address that it has to do with.
    Result<ProcessResult> run(const std::vector<std::string>& arguments, GitWords& words, const HiddenUrl& with = {},
                              const std::string& input = {})
    {
        m_questions.knowName(with.host, with.user);
        constexpr int mostAttempts = 3;
        for (int attempt = 1;; ++attempt) {
            GitRequest request{.arguments = arguments, .repository = m_repository, .config = m_config};
            request.config.insert(request.config.end(), with.config.begin(), with.config.end());
            request.environment = m_questions.environment();
            request.environment.insert(m_environment.begin(), m_environment.end());
            request.environment.insert(with.environment.begin(), with.environment.end());
            request.input = input;
            request.stop = m_progress.stop;
            request.interactive = m_questions.leavesTerminal();
            words = GitWords(m_progress);
            words.cleanWith([with](std::string text) { return with.cleaned(std::move(text)); });
            auto ended = runGit(request, [&](std::string_view bytes) { words.hear(bytes); });
            const bool refused =
                ended && !ended->ok() && m_questions.gaveLogin() && words.has("Authentication failed for");
            m_questions.nextProgram(refused);
            if (!refused || attempt == mostAttempts)
                return ended;
        }
    }
    Error error(const std::string& what, const std::string& address, const GitWords& words) const
    {
        Error error = explain(what, address, words);
        if (m_questions.hostRefused())
            error.remedy = "Compare the fingerprint with the one that the host's owner publishes, and try again when "
                           "it is the same";
        return error;
    }

  private:
    const Repository* m_repository;
    const Progress& m_progress;
    SshQuestions m_questions;
    std::vector<std::pair<std::string, std::string>> m_config;
    std::map<std::string, std::optional<std::string>> m_environment;
};

class GitTransport : public Transport {
  public:
    GitTransport(const Repository& repository, std::string remote, const Access& access, const Progress& progress)
        : m_repository(repository)
        , m_remote(std::move(remote))
        , m_progress(progress)
        , m_runner(&repository, access, progress)
    {
        // Newer gits let a fetch move refs/remotes/<remote>/HEAD, and a mirror's push takes no single refs.
        m_runner.set("remote." + m_remote + ".followRemoteHEAD", "never");
        m_runner.set("remote." + m_remote + ".mirror", "false");
    }

    Result<void> find()
    {
        auto urls = addresses({}, {"url"});
        if (!urls)
            return std::unexpected(urls.error());
        m_fetch = std::move(urls->front());
        m_address = withoutSecret(m_fetch.url);
        return {};
    }
    std::string address() const override { return m_address; }

    Result<Advertisement> look() override
    {
        m_progress.report("Connecting");
        return list(m_remote, m_fetch, {}).transform(parseAdvertisement);
    }

    Result<void> get(const std::vector<WantedRef>& refs) override
    {
        std::vector<std::string> arguments{"fetch",       "--no-tags",
                                           "--no-prune",  "--no-write-fetch-head",
                                           "--refmap=",   "--no-auto-maintenance",
                                           "--progress",  "--no-recurse-submodules",
                                           "--no-append", "--stdin",
                                           "--",          m_remote};
        // By id: what was looked at is what comes, and the other side need not list its refs again.
        std::string input;
        for (const WantedRef& ref : refs)
            input += ref.id.hex() + '\n';
        GitWords words(m_progress);
        const auto ended = m_runner.run(arguments, words, m_fetch, input);
        if (!ended)
            return std::unexpected(ended.error());
        if (!ended->ok())
            return std::unexpected(m_runner.error("The fetch failed", m_address, words));
        // That git would take only with a cut in this clone's own history.
        if (words.has("shallow roots are not allowed"))
            return fail(ErrorKind::Network, "The remote is a shallow clone and lacks what its branch needs", m_address,
                        "Nothing was moved; fetch from a full clone");
        return {};
    }

    // As git itself looks after a fetch (git's connected.c).
    Result<bool> areComplete(const std::set<Oid>& ids) override
    {
        std::string input;
        for (const Oid& id : ids)
            input += id.hex() + '\n';
        GitWords words(m_progress);
        const auto ended =
            m_runner.run({"rev-list", "--objects", "--stdin", "--not", "--all", "--quiet", "--alternate-refs"}, words,
                         m_fetch, input);
        if (!ended)
            return std::unexpected(ended.error());
        return ended->ok();
    }

    Result<std::vector<std::string>> pushAddresses() override
    {
        if (m_push.empty()) {
            auto urls = addresses({"--push", "--all"}, {"pushurl", "url"});
            if (!urls)
                return std::unexpected(urls.error());
            m_push = std::move(*urls);
        }
        std::vector<std::string> shown;
        for (const HiddenUrl& side : m_push)
            shown.push_back(withoutSecret(side.url));
        return shown;
    }

    Result<Advertised> lookWhereItPushes(std::size_t side, const std::vector<std::string>& refs) override
    {
        m_progress.report("Connecting");
        const HiddenUrl& there = m_push.at(side);
        auto told = list(there.url == m_fetch.url ? m_remote : there.address, there, refs);
        if (!told)
            return std::unexpected(told.error());
        Advertised seen = parseAdvertisement(*told).refs;
        std::erase_if(seen, [&](const auto& ref) { return !std::ranges::contains(refs, ref.first); });
        return seen;
    }

    Sent send(std::size_t side, const std::vector<RefMove>& moves) override
    {
        Sent sent;
        sent.allOrNothing = moves.size() > 1;
        send(side, moves, sent);
        return sent;
    }

    std::vector<std::string> takeSaid() override { return shownLines(std::exchange(m_said, {})); }

  private:
    // `keys`: of the settings that they come from, the first that is there.
    Result<std::vector<HiddenUrl>> addresses(const std::vector<std::string>& options,
                                             const std::vector<std::string>& keys)
    {
        std::vector<std::string> arguments{"remote", "get-url"};
        arguments.insert(arguments.end(), options.begin(), options.end());
        arguments.insert(arguments.end(), {"--", m_remote});
        GitWords words(m_progress);
        const auto ended = m_runner.run(arguments, words);
        if (!ended)
            return std::unexpected(ended.error());
        std::vector<std::string> urls = linesOf(ended->out);
        std::erase_if(urls, [](const std::string& url) { return url.empty(); });
        if (words.has("No such remote"))
            return fail(ErrorKind::NotFound, "There is no such remote", displayText(m_remote, 200),
                        "Look at the list of remotes");
        if (!ended->ok() || urls.empty()) {
            Error error = explain("The remote's settings cannot be read", displayText(m_remote, 200), words);
            error.kind = ErrorKind::Usage;
            error.remedy = "Correct them with git config";
            return std::unexpected(std::move(error));
        }
        std::vector<std::string> written;
        for (const std::string& key : keys)
            if (written.empty())
                written = configValues(m_repository, "remote." + m_remote + "." + key);
        std::erase_if(written, [](const std::string& url) { return url.empty(); });
        std::vector<HiddenUrl> hidden;
        for (std::size_t i = 0; i < urls.size(); ++i)
            hidden.push_back(hideSecret(urls[i], i < written.size() ? written[i] : std::string()));
        return hidden;
    }

    Result<std::string> list(const std::string& where, const HiddenUrl& url, const std::vector<std::string>& refs)
    {
        std::vector<std::string> arguments{"ls-remote", "--symref", "--", where};
        arguments.insert(arguments.end(), refs.begin(), refs.end());
        GitWords words(m_progress);
        auto ended = m_runner.run(arguments, words, url);
        if (!ended)
            return std::unexpected(ended.error());
        if (!ended->ok())
            return std::unexpected(m_runner.error("The remote cannot be reached", withoutSecret(url.url), words));
        return std::move(ended->out);
    }

    // By the remote's name, so that all its settings hold, where that moves no other ref here than a tracking ref.
    std::string destinationOf(std::size_t side, const std::vector<RefMove>& moves) const
    {
        const std::string& url = m_push.at(side).address;
        if (m_push.size() > 1)
            return url;
        const auto specs = fetchRefspecs(m_repository, m_remote);
        const auto movesAnother = [&](const RefMove& move) {
            return std::ranges::any_of(*specs, [&](const Refspec& spec) {
                const auto here = spec.negative ? std::nullopt : spec.destinationOf(move.name);
                return here && !here->empty() && !here->starts_with(trackingPrefix);
            });
        };
        return !specs || std::ranges::any_of(moves, movesAnother) ? url : m_remote;
    }

    void send(std::size_t side, const std::vector<RefMove>& moves, Sent& sent)
    {
        std::vector<std::string> arguments{"push", "--porcelain", "--progress", "--no-verify", "--no-follow-tags"};
        const std::string submodules = m_repository.config("push.recurseSubmodules").value_or("");
        if (submodules == "on-demand" || submodules == "only")
            arguments.emplace_back("--recurse-submodules=check");
        if (sent.allOrNothing)
            arguments.emplace_back("--atomic");
        for (const RefMove& move : moves)
            arguments.push_back("--force-with-lease=" + move.name + ":" + (move.old.isZero() ? "" : move.old.hex()));
        arguments.insert(arguments.end(), {"--", destinationOf(side, moves)});
        for (const RefMove& move : moves)
            arguments.push_back((move.now.isZero() ? "" : move.now.hex()) + ":" + move.name);
        GitWords words(m_progress);
        m_runner.mark(pushMark(m_repository));
        const HiddenUrl& there = m_push.at(side);
        const auto ended = m_runner.run(arguments, words, there);
        if (!ended) {
            sent.error = ended.error();
            return;
        }
        // Nothing was sent then.
        if (sent.allOrNothing && words.has("does not support --atomic")) {
            sent.allOrNothing = false;
            send(side, moves, sent);
            return;
        }
        sent.answers = parseAnswers(there.cleaned(ended->out));
        for (const std::string& line : words.others())
            m_said.push_back(line);
        if (ended->ok())
            return;
        sent.nothingSent = wasNothingSent(words);
        sent.error = m_runner.error("The push failed", withoutSecret(there.url), words);
    }

    const Repository& m_repository;
    const std::string m_remote;
    const Progress& m_progress;
    GitRunner m_runner;
    std::string m_address;
    HiddenUrl m_fetch;
    std::vector<HiddenUrl> m_push;
    std::vector<std::string> m_said;
};

} // namespace

Result<std::unique_ptr<Transport>> openGitTransport(const Repository& repository, const std::string& remote,
                                                    const Access& access, const Progress& progress)
{
    auto transport = std::make_unique<GitTransport>(repository, remote, access, progress);
    if (auto found = transport->find(); !found)
        return std::unexpected(found.error());
    return transport;
}

Result<void> cloneByGit(const std::string& url, const fs::path& folder, const Access& access, const Progress& progress)
{
    GitRunner runner(nullptr, access, progress);
    const HiddenUrl hidden = hideSecret(url);
    GitWords words(progress);
    std::error_code error;
    const fs::path into = fs::absolute(folder, error);
    progress.report("Connecting");
    const auto ended = runner.run(
        {"clone", "--progress", "--no-recurse-submodules", "--", hidden.address, into.string()}, words, hidden);
    if (!ended)
        return std::unexpected(ended.error());
    if (!ended->ok())
        return std::unexpected(runner.error("The clone failed", withoutSecret(url), words));
    return {};
}

} // namespace espalier
