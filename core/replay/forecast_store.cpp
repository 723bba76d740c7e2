// SPDX-License-Identifier: MIT
#include "core/replay/forecast_store.h"

#include "core/git/config_path.h"
#include "core/git/files.h"
#include "core/git/handles.h"
#include "core/git/overrides.h"
#include "core/git/sha1.h"
#include "core/git/text.h"

#include <algorithm>
#include <charconv>
#include <cstdlib>

namespace espalier {

namespace {

// Rises whenever the engine may answer otherwise than before.
constexpr int answers = 1;
constexpr std::size_t mostKept = 20000, mostBytes = std::size_t(8) << 20;
constexpr std::string_view head = "espalier forecasts";

constexpr std::pair<Forecast::Kind, std::string_view> kinds[] = {{Forecast::Clean, "clean"},
                                                                 {Forecast::Conflicts, "conflicts"},
                                                                 {Forecast::FastForward, "fast-forward"},
                                                                 {Forecast::Landed, "landed"},
                                                                 {Forecast::Nothing, "nothing"}};

template <typename Number> bool take(std::string_view& rest, Number& number)
{
    const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), number);
    if (error != std::errc())
        return false;
    rest.remove_prefix(std::size_t(end - rest.data()));
    if (rest.starts_with(' '))
        rest.remove_prefix(1);
    return true;
}

std::string_view takeWord(std::string_view& rest)
{
    const std::string_view word = rest.substr(0, rest.find(' '));
    rest.remove_prefix(std::min(rest.size(), word.size() + 1));
    return word;
}

} // namespace

std::string ForecastStore::inputsOf(const Repository& repository)
{
    Sha1 sum;
    const auto add = [&](std::string_view name, std::string_view value) {
        sum.add(std::to_string(name.size()) + ' ' + std::to_string(value.size()) + ' ');
        sum.add(name);
        sum.add(value);
    };
    add("answers", std::to_string(answers));
    // More than the merge reads today, so that nobody has to remember this place who makes it read more.
    Handle<git_config> config;
    if (git_repository_config_snapshot(out(config), raw(repository)) == 0) {
        const auto each = [](const git_config_entry* entry, void* payload) {
            (*static_cast<decltype(add)*>(payload))(entry->name, entry->value ? entry->value : "true");
            return 0;
        };
        git_config_foreach_match(config.get(), "^(merge|diff|core|filter|rebase|i18n)\\.", each,
                                 const_cast<void*>(static_cast<const void*>(&add)));
    }
    const auto addFile = [&](const std::filesystem::path& file) {
        add(file.string(), readFileBounded(file, mostBytes).value_or(""));
    };
    // gitattributes(5): the files that hold for every tree.
    addFile("/etc/gitattributes");
    addFile(repository.commonDir() / "info" / "attributes");
    const char* settings = std::getenv("XDG_CONFIG_HOME");
    const char* home = std::getenv("HOME");
    if (const auto global = configPath(repository, "core.attributesFile"))
        addFile(*global);
    else if (settings && *settings)
        addFile(std::filesystem::path(settings) / "git" / "attributes");
    else if (home && *home)
        addFile(std::filesystem::path(home) / ".config" / "git" / "attributes");
    add("overrides", readOverrides(repository).fingerprint);
    return sum.finish().hex();
}

ForecastStore::ForecastStore(const Repository& repository)
    : m_file(repository.commonDir() / "espalier" / "forecasts"), m_inputs(inputsOf(repository))
{
    if (const auto text = readFileBounded(m_file, mostBytes))
        parse(*text);
}

// "espalier forecasts INPUTS RUN", then a line for each: TIP BASE RUN KIND HUNKS FILES COMMITS LANDED EMPTY LANDED-AS.
void ForecastStore::parse(std::string_view text)
{
    const auto nextLine = [&] {
        const std::string_view line = text.substr(0, text.find('\n'));
        text.remove_prefix(std::min(text.size(), line.size() + 1));
        return line;
    };
    std::string_view first = nextLine();
    if (!first.starts_with(head))
        return;
    first.remove_prefix(std::min(first.size(), head.size() + 1));
    std::uint64_t run = 0;
    if (takeWord(first) != m_inputs || !take(first, run))
        return;
    m_run = run + 1;
    while (!text.empty()) {
        std::string_view line = nextLine();
        const auto tip = Oid::parse(takeWord(line)), base = Oid::parse(takeWord(line));
        Kept kept;
        Forecast& forecast = kept.forecast;
        if (!tip || !base || !take(line, kept.asked))
            return;
        const auto kind =
            std::ranges::find(kinds, takeWord(line), &std::pair<Forecast::Kind, std::string_view>::second);
        if (kind == std::end(kinds) || !take(line, forecast.hunks) || !take(line, forecast.files) ||
            !take(line, forecast.commits) || !take(line, forecast.landed) || !take(line, forecast.empty))
            return;
        forecast.kind = kind->first;
        if (const std::string_view as = takeWord(line); as != "-")
            forecast.landedAs = Oid::parse(as);
        m_kept.insert_or_assign({*tip, *base}, kept);
    }
}

std::optional<Forecast> ForecastStore::find(const Oid& tip, const Oid& base)
{
    const auto at = m_kept.find({tip, base});
    if (at == m_kept.end())
        return std::nullopt;
    at->second.asked = m_run;
    return at->second.forecast;
}

void ForecastStore::keep(const Oid& tip, const Oid& base, const Forecast& forecast)
{
    if (forecast.kind == Forecast::Unknown)
        return;
    m_kept.insert_or_assign({tip, base}, Kept{forecast, m_run});
    m_changed = true;
}

Result<void> ForecastStore::save()
{
    if (!m_changed)
        return {};
    if (m_kept.size() > mostKept) {
        std::vector<std::uint64_t> runs;
        for (const auto& [key, kept] : m_kept)
            runs.push_back(kept.asked);
        std::ranges::nth_element(runs, runs.begin() + std::ptrdiff_t(m_kept.size() - mostKept / 2));
        const std::uint64_t oldest = runs[m_kept.size() - mostKept / 2];
        std::erase_if(m_kept, [&](const auto& each) { return each.second.asked < oldest; });
        // A single run with more than that: any of them may go.
        while (m_kept.size() > mostKept)
            m_kept.erase(m_kept.begin());
    }
    std::string text = std::string(head) + ' ' + m_inputs + ' ' + std::to_string(m_run) + '\n';
    for (const auto& [key, kept] : m_kept) {
        const Forecast& forecast = kept.forecast;
        const auto kind = std::ranges::find(kinds, forecast.kind, &std::pair<Forecast::Kind, std::string_view>::first);
        text += key.first.hex() + ' ' + key.second.hex() + ' ' + std::to_string(kept.asked) + ' ';
        text.append(kind->second);
        for (const std::size_t number :
             {forecast.hunks, forecast.files, forecast.commits, forecast.landed, forecast.empty})
            text += ' ' + std::to_string(number);
        text += ' ' + (forecast.landedAs ? forecast.landedAs->hex() : "-") + '\n';
    }
    m_changed = false;
    return makeFolders(m_file.parent_path()).and_then([&] { return writeFileAtomically(m_file, text); });
}

} // namespace espalier
