// SPDX-License-Identifier: MIT
#include "core/merge/attributes.h"

#include "core/git/config_path.h"
#include "core/git/files.h"
#include "core/merge/wildcard.h"
#include "core/tree/entry.h"

#include <algorithm>
#include <charconv>
#include <cstdlib>
#include <ranges>

namespace espalier {

namespace {

constexpr std::string_view blanks = " \t\r\n";
// git's ATTR_MAX_LINE_LENGTH, and ATTR_MAX_FILE_SIZE, beyond which it ignores the whole file (from memory).
constexpr std::size_t longestLine = 2048;
constexpr std::size_t largestFile = 100 * std::size_t(1024) * 1024;
// No real file comes near it, and rules take many times the bytes of their lines.
constexpr std::size_t largestRead = 8 * std::size_t(1024) * 1024;
// Of comparing one path with all patterns above it: a fraction of a second.
constexpr long mostSteps = 20'000'000;

std::string_view takeWord(std::string_view& line)
{
    line.remove_prefix(std::min(line.find_first_not_of(blanks), line.size()));
    const std::string_view word = line.substr(0, line.find_first_of(blanks));
    line.remove_prefix(word.size());
    return word;
}

// A pattern in quotes, as C writes a string; nothing when the quotes do not close.
std::optional<std::string> takeQuoted(std::string_view& line)
{
    std::string text;
    for (std::size_t at = 1; at < line.size(); ++at) {
        if (line[at] == '"') {
            line.remove_prefix(at + 1);
            return text;
        }
        if (line[at] != '\\' || at + 1 == line.size()) {
            text += line[at];
            continue;
        }
        const char c = line[++at];
        constexpr std::string_view letters = "abfnrtv", meant = "\a\b\f\n\r\t\v";
        if (const std::size_t known = letters.find(c); known != std::string_view::npos) {
            text += meant[known];
        } else if (int byte = 0;
                   at + 3 <= line.size() && c >= '0' && c <= '3' &&
                   std::from_chars(line.data() + at, line.data() + at + 3, byte, 8).ptr == line.data() + at + 3) {
            text += char(byte);
            at += 2;
        } else {
            text += c;
        }
    }
    return std::nullopt;
}

bool isAttributeName(std::string_view name)
{
    const auto fits = [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '.' ||
               c == '_';
    };
    return !name.empty() && name.front() != '-' && !name.starts_with("builtin_") && std::ranges::all_of(name, fits);
}

} // namespace

std::optional<MergeAttributes::Rule> MergeAttributes::ruleOf(std::string_view line)
{
    if (line.size() >= longestLine)
        return std::nullopt;
    line.remove_prefix(std::min(line.find_first_not_of(blanks), line.size()));
    if (line.empty() || line.front() == '#')
        return std::nullopt;
    Rule rule;
    const auto quoted = line.front() == '"' ? takeQuoted(line) : std::nullopt;
    rule.pattern = quoted ? *quoted : std::string(takeWord(line));
    constexpr std::string_view macro = "[attr]";
    if (!quoted && rule.pattern.starts_with(macro)) {
        rule.isMacro = true;
        rule.pattern.erase(0, macro.size());
        if (rule.pattern.empty())
            rule.pattern = std::string(takeWord(line));
    } else if (rule.pattern.starts_with('!') || rule.pattern.ends_with('/')) {
        return std::nullopt; // git refuses the one; the other means folders, of which nothing is asked here
    }
    rule.anchored = rule.pattern.contains('/');
    if (rule.pattern.starts_with('/'))
        rule.pattern.erase(0, 1);
    for (std::string_view word = takeWord(line); !word.empty(); word = takeWord(line)) {
        Setting setting;
        if (word.front() == '-' || word.front() == '!') {
            setting.state = word.front() == '-' ? Setting::Unset : Setting::Unspecified;
            word.remove_prefix(1);
        } else if (const std::size_t equals = word.find('='); equals != std::string_view::npos) {
            setting.state = Setting::Valued;
            setting.value = word.substr(equals + 1);
            word = word.substr(0, equals);
        }
        // git drops the whole line.
        if (!isAttributeName(word))
            return std::nullopt;
        setting.name = word;
        rule.settings.push_back(std::move(setting));
    }
    return rule;
}

MergeAttributes::File MergeAttributes::parse(std::string_view bytes)
{
    File file;
    constexpr std::string_view byteOrderMark = "\xef\xbb\xbf";
    if (bytes.starts_with(byteOrderMark))
        bytes.remove_prefix(byteOrderMark.size());
    // For git a zero byte ends the text.
    std::string_view rest = bytes.substr(0, bytes.find('\0'));
    while (!rest.empty()) {
        const std::string_view line = rest.substr(0, rest.find('\n'));
        if (auto rule = ruleOf(line); rule && rule->isMacro)
            file.macros.insert_or_assign(rule->pattern, std::move(*rule));
        else if (rule)
            file.rules.push_back(std::move(*rule));
        rest.remove_prefix(std::min(line.size() + 1, rest.size()));
    }
    return file;
}

Result<MergeAttributes::Rules> MergeAttributes::rulesOf(ObjectStore& store, const Oid& blob)
{
    if (const auto at = m_rules.find(blob); at != m_rules.end())
        return at->second;
    const auto object = store.read(blob, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    const std::size_t size = object->view().size();
    if (size > largestRead && size <= largestFile)
        return fail(ErrorKind::Unsupported, "A .gitattributes file is too large", blob.hex(),
                    "Merge with git itself, or make the file shorter");
    const auto rules = std::make_shared<const File>(size > largestFile ? File{} : parse(object->view()));
    if (m_rules.size() > 256)
        m_rules.clear();
    m_rules[blob] = rules;
    return rules;
}

// What has been decided: the first that is come upon counts, from the last rule of the deepest file up.
struct MergeAttributes::Decision {
    std::vector<const std::map<std::string, Rule, std::less<>>*> macros; // those that count most first
    std::map<std::string_view, const Setting*> settings;

    // A macro's settings come right behind its own name, depth first as in git. Each name is set once, so that this ends
    // whatever the macros say of each other; what waits is kept in a list, since a file can chain more of them than a
    // stack has room for.
    void take(const Rule& rule)
    {
        using Settings = std::vector<Setting>;
        std::vector<std::pair<const Settings*, std::size_t>> waiting{{&rule.settings, rule.settings.size()}};
        while (!waiting.empty()) {
            auto& [list, left] = waiting.back();
            if (left == 0) {
                waiting.pop_back();
                continue;
            }
            const Setting& setting = (*list)[--left];
            if (!settings.emplace(setting.name, &setting).second || setting.state != Setting::Set)
                continue;
            if (const Rule* macro = macroOf(setting.name))
                waiting.emplace_back(&macro->settings, macro->settings.size());
        }
    }
    const Rule* macroOf(std::string_view name) const
    {
        static const Rule binary = *ruleOf("[attr]binary -diff -merge -text");
        for (const auto* file : macros)
            if (const auto at = file->find(name); at != file->end())
                return &at->second;
        return name == binary.pattern ? &binary : nullptr;
    }
    const Setting* find(std::string_view name) const
    {
        const auto at = settings.find(name);
        return at == settings.end() ? nullptr : at->second;
    }
};

// The files on the way to a path, topmost first, each with what is left of the path there.
Result<std::vector<std::pair<std::string_view, MergeAttributes::Rules>>>
MergeAttributes::filesAbove(ObjectStore& store, const Oid& tree, std::string_view path)
{
    std::vector<std::pair<std::string_view, Rules>> files;
    Oid folder = tree;
    while (true) {
        const auto object = store.read(folder, ObjectType::Tree);
        if (!object)
            return std::unexpected(object.error());
        TreeCursor at(object->view());
        if (at.seek(".gitattributes", false) &&
            (at.entry().mode == FileMode::File || at.entry().mode == FileMode::Executable)) {
            auto rules = rulesOf(store, at.entry().id);
            if (!rules)
                return std::unexpected(rules.error());
            files.emplace_back(path, std::move(*rules));
        }
        const std::size_t slash = path.find('/');
        TreeCursor inside(object->view());
        if (slash == std::string_view::npos || !inside.seek(path.substr(0, slash), true))
            return files;
        folder = inside.entry().id;
        path.remove_prefix(slash + 1);
    }
}

const MergeAttributes::Outside& MergeAttributes::outside(const Repository& repository)
{
    if (m_outside)
        return *m_outside;
    const auto read = [](const std::filesystem::path& path) -> Rules {
        const auto bytes = path.empty() ? std::unexpected(Error{}) : readFileBounded(path, largestRead);
        return bytes ? std::make_shared<const File>(parse(*bytes)) : nullptr;
    };
    const auto folder = [](const char* variable) {
        const char* const value = std::getenv(variable);
        return std::filesystem::path(value ? value : "");
    };
    std::filesystem::path user;
    if (const auto configured = configPath(repository, "core.attributesFile"))
        user = *configured;
    else if (const auto config = folder("XDG_CONFIG_HOME"); !config.empty())
        user = config / "git/attributes";
    else if (const auto home = folder("HOME"); !home.empty())
        user = home / ".config/git/attributes";
    m_outside = Outside{read(repository.commonDir() / "info/attributes"), read(user),
                        std::getenv("GIT_ATTR_NOSYSTEM") ? nullptr : read("/etc/gitattributes")};
    return *m_outside;
}

Result<PathAttributes> MergeAttributes::of(ObjectStore& store, const Oid& tree, const std::string& path)
{
    const auto files = filesAbove(store, tree, path);
    if (!files)
        return std::unexpected(files.error());
    PathAttributes found;
    const Outside& more = outside(store.repository());
    if (files->empty() && !more.own && !more.user && !more.system)
        return found;
    Decision decision;
    std::vector<std::pair<std::string_view, Rules>> all; // as git stacks them, the last counts most
    for (const Rules& file : {more.system, more.user})
        if (file)
            all.emplace_back(path, file);
    all.insert(all.end(), files->begin(), files->end());
    if (more.own)
        all.emplace_back(path, more.own);
    // Of the tree's files only the topmost may define macros.
    for (const auto& [below, file] : all | std::views::reverse)
        if (below.size() == path.size())
            decision.macros.push_back(&file->macros);
    long steps = mostSteps;
    for (const auto& [below, file] : all | std::views::reverse) {
        const std::string_view name = below.substr(below.rfind('/') + 1);
        for (const Rule& rule : file->rules | std::views::reverse)
            if (matchesWildcard(rule.pattern, rule.anchored ? below : name, steps))
                decision.take(rule);
    }
    if (steps < 0)
        return fail(ErrorKind::Unsupported, "The patterns of a .gitattributes file take too long", path,
                    "Merge with git itself, or make the patterns simpler");
    if (const Setting* merge = decision.find("merge"); merge && merge->state != Setting::Unspecified) {
        found.saysNothing = false;
        if (merge->state == Setting::Valued)
            found.named = merge->value;
        if (merge->state == Setting::Unset || (merge->state == Setting::Valued && merge->value == "binary"))
            found.driver = MergeAttribute::Binary;
        else if (merge->state == Setting::Valued && merge->value == "union")
            found.driver = MergeAttribute::Union;
    }
    // git's convert.c: `crlf` is the old name of `text`, and an `eol` makes a text.
    const Setting* text = decision.find("text");
    if (!text || text->state == Setting::Unspecified)
        text = decision.find("crlf");
    const Setting* eol = decision.find("eol");
    if (text && text->state == Setting::Unset)
        found.lines = PathAttributes::Lines::AsTheyAre;
    else if (text && text->state == Setting::Valued && text->value == "auto")
        found.lines = PathAttributes::Lines::Guessed;
    else if ((text && text->state != Setting::Unspecified) ||
             (eol && eol->state == Setting::Valued && (eol->value == "lf" || eol->value == "crlf")))
        found.lines = PathAttributes::Lines::Text;
    for (const char* name : {"filter", "ident", "working-tree-encoding"})
        if (const Setting* converts = decision.find(name))
            found.isConverted |= converts->state == Setting::Set || converts->state == Setting::Valued;
    if (const Setting* size = decision.find("conflict-marker-size"); size && size->state == Setting::Valued)
        std::from_chars(size->value.data(), size->value.data() + size->value.size(), found.markerSize);
    if (found.markerSize < 1 || found.markerSize > 1000)
        found.markerSize = 7;
    return found;
}

} // namespace espalier
