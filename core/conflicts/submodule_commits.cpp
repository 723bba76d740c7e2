// SPDX-License-Identifier: MIT
#include "core/conflicts/submodule_commits.h"

#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/replay/commit_table.h"

#include <algorithm>
#include <chrono>
#include <format>
#include <optional>
#include <span>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t mostNamed = 200; // commits of a side

std::string_view trimmed(std::string_view text)
{
    const auto from = text.find_first_not_of(" \t\r");
    return from == std::string_view::npos ? std::string_view()
                                          : text.substr(from, text.find_last_not_of(" \t\r") + 1 - from);
}

// A value as git's configuration has it: quotes around it, a backslash before what would mean something.
std::string unquoted(std::string_view value)
{
    std::string plain;
    for (std::size_t i = 0; i < value.size(); ++i) {
        if (value[i] == '\\' && i + 1 < value.size())
            plain += value[++i];
        else if (value[i] != '"')
            plain += value[i];
    }
    return plain;
}

// Both come out of the repository and lead to folders.
bool staysInside(const std::string& path)
{
    const fs::path given(path);
    return !path.empty() && given.is_relative() && !std::ranges::contains(given, fs::path("..")) &&
           !std::ranges::contains(path, '\0') && !std::ranges::contains(given, fs::path(".git"));
}

// Where git clones a submodule's repository to, and where older ones stand: in the worktree itself.
std::optional<Repository> openSubmodule(const Repository& repository, std::string_view gitmodules,
                                        const std::string& path)
{
    const std::string name = submoduleName(gitmodules, path);
    std::vector<fs::path> places;
    for (const std::string& one : {name, path})
        if (staysInside(one))
            places.push_back(repository.commonDir() / "modules" / one);
    if (!repository.isBare() && staysInside(path))
        places.push_back(repository.workDir() / path / ".git");
    for (const fs::path& place : places) {
        std::error_code unknown;
        if (!fs::exists(place, unknown))
            continue;
        if (auto opened = Repository::open(place.filename() == ".git" ? place.parent_path() : place))
            return std::move(*opened);
    }
    return std::nullopt;
}

std::string dayOf(std::int64_t when)
{
    const std::chrono::sys_seconds at{std::chrono::seconds(when)};
    return std::format("{:%F}", std::chrono::floor<std::chrono::days>(at));
}

std::string lineOf(const Commit& commit)
{
    return commit.id.brief() + " " + displayText(commit.subject(), 200) + " (" + displayText(commit.author.name, 60) +
           ", " + dayOf(commit.author.when) + ")";
}

class Reader {
  public:
    Reader(const Repository& submodule, const Progress& progress)
        : m_store(submodule), m_table(submodule), m_progress(progress)
    {
    }

    SubmoduleSide alone(const Oid& id)
    {
        SubmoduleSide side;
        if (id.isZero())
            return side;
        const auto commit = readCommit(m_store, id);
        if (!commit) {
            side.words =
                "at " + id.brief() + ", a commit that its repository here lacks: fetch in the submodule to see it";
            return side;
        }
        side.words = "at " + id.brief() + " " + displayText(commit->subject(), 120);
        side.lines = lineOf(*commit) + "\n";
        return side;
    }

    // `own` are the commits that only this side has. Nothing where one of them cannot be read.
    void add(SubmoduleSide& side, std::span<const Oid> own, std::string_view other, bool hasAll)
    {
        if (own.empty()) {
            side.words += "; " + std::string(other) + " has all of it";
            return;
        }
        std::string lines;
        for (const Oid& id : own.subspan(0, std::min(own.size(), mostNamed))) {
            const auto commit = readCommit(m_store, id);
            if (!commit)
                return;
            lines += lineOf(*commit) + "\n";
        }
        if (own.size() > mostNamed)
            lines += "and " + counted(own.size() - mostNamed, "more", "more") + "\n";
        side.lines = std::move(lines);
        side.words += "; " + counted(own.size(), "commit", "commits") + " that " + std::string(other) + " has not" +
                      (hasAll ? ", and all of its" : "");
    }

    SubmoduleSides both(const Oid& newBase, const Oid& commit)
    {
        SubmoduleSides sides{alone(newBase), alone(commit)};
        if (newBase.isZero() || commit.isZero())
            return sides;
        const auto ways = m_table.divergence(m_store, newBase, commit, m_progress);
        if (!ways) // one of them is not here
            return sides;
        add(sides.newBase, ways->onlyLeft, "your commit's", ways->onlyRight.empty());
        add(sides.commit, ways->onlyRight, "the new base's", ways->onlyLeft.empty());
        return sides;
    }

  private:
    ObjectStore m_store;
    CommitTable m_table;
    const Progress& m_progress;
};

} // namespace

std::string submoduleName(std::string_view gitmodules, std::string_view path)
{
    std::string name;
    while (!gitmodules.empty()) {
        const std::size_t end = std::min(gitmodules.find('\n'), gitmodules.size());
        const std::string_view line = trimmed(gitmodules.substr(0, end));
        gitmodules.remove_prefix(std::min(end + 1, gitmodules.size()));
        if (line.starts_with('[')) {
            const std::size_t from = line.find('"'), to = line.rfind('"');
            const bool named = line.starts_with("[submodule") && from != to && to != std::string_view::npos;
            name = named ? unquoted(line.substr(from + 1, to - from - 1)) : std::string();
            continue;
        }
        const std::size_t equals = line.find('=');
        if (!name.empty() && equals != std::string_view::npos && trimmed(line.substr(0, equals)) == "path" &&
            unquoted(trimmed(line.substr(equals + 1))) == path)
            return name;
    }
    return {};
}

SubmoduleSides submoduleSides(const Repository& repository, std::string_view gitmodules, const std::string& path,
                              const Oid& newBase, const Oid& commit, const Progress& progress)
{
    if (const auto submodule = openSubmodule(repository, gitmodules, path))
        return Reader(*submodule, progress).both(newBase, commit);
    const auto unknown = [](const Oid& id) {
        return id.isZero() ? SubmoduleSide{}
                           : SubmoduleSide{
                                 "at " + id.brief() + "; its repository is not here, so its commits have no names", {}};
    };
    return {unknown(newBase), unknown(commit)};
}

} // namespace espalier
