// SPDX-License-Identifier: MIT
#include "core/merge/attributes.h"

#include "core/git/tree.h"
#include "core/merge/wildcard.h"

#include <algorithm>
#include <charconv>

namespace espalier {

namespace {

constexpr std::string_view blanks = " \t\r\n";
constexpr std::size_t longestLine = 2048; // git's too
constexpr std::size_t mostBytes = std::size_t(1) << 20;

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
    line.remove_prefix(std::min(line.find_first_not_of(blanks), line.size()));
    if (line.empty() || line.front() == '#' || line.size() >= longestLine)
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

Result<MergeAttributes::Rules> MergeAttributes::rulesOf(ObjectStore& store, const Oid& blob)
{
    if (const auto at = m_rules.find(blob); at != m_rules.end())
        return at->second;
    const auto object = store.read(blob, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    auto rules = std::make_shared<std::vector<Rule>>();
    std::string_view rest = object->view().substr(0, mostBytes);
    while (!rest.empty()) {
        const std::string_view line = rest.substr(0, rest.find('\n'));
        if (auto rule = ruleOf(line))
            rules->push_back(std::move(*rule));
        rest.remove_prefix(std::min(line.size() + 1, rest.size()));
    }
    if (m_rules.size() > 256)
        m_rules.clear();
    m_rules[blob] = rules;
    return Rules(rules);
}

bool MergeAttributes::matches(const Rule& rule, std::string_view below)
{
    return matchesWildcard(rule.pattern, rule.anchored ? below : below.substr(below.rfind('/') + 1));
}

// What has been decided: the first that is come upon counts, from the last rule of the deepest file up.
struct MergeAttributes::Decision {
    std::map<std::string_view, const Setting*> settings;
    std::map<std::string_view, const Rule*> macros;

    void take(const Rule& rule)
    {
        for (auto at = rule.settings.rbegin(); at != rule.settings.rend(); ++at) {
            if (!settings.emplace(at->name, &*at).second || at->state != Setting::Set)
                continue;
            if (const auto macro = macros.find(at->name); macro != macros.end())
                take(*macro->second);
        }
    }
    const Setting* find(std::string_view name) const
    {
        const auto at = settings.find(name);
        return at == settings.end() ? nullptr : at->second;
    }
};

Result<PathAttributes> MergeAttributes::of(ObjectStore& store, const Oid& tree, const std::string& path)
{
    std::vector<std::pair<std::string_view, Rules>> files; // what is left of the path there
    Oid folder = tree;
    std::string_view rest = path;
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
            files.emplace_back(rest, std::move(*rules));
        }
        const std::size_t slash = rest.find('/');
        TreeCursor inside(object->view());
        if (slash == std::string_view::npos || !inside.seek(rest.substr(0, slash), true))
            break;
        folder = inside.entry().id;
        rest.remove_prefix(slash + 1);
    }
    PathAttributes found;
    if (files.empty())
        return found;
    static const Rule binary = *ruleOf("[attr]binary -diff -merge -text");
    Decision decision;
    decision.macros.emplace(binary.pattern, &binary);
    // Only the topmost file may define macros.
    if (files.front().first.size() == path.size())
        for (const Rule& rule : *files.front().second)
            if (rule.isMacro)
                decision.macros[rule.pattern] = &rule;
    for (auto file = files.rbegin(); file != files.rend(); ++file)
        for (auto rule = file->second->rbegin(); rule != file->second->rend(); ++rule)
            if (!rule->isMacro && matches(*rule, file->first))
                decision.take(*rule);
    if (const Setting* merge = decision.find("merge")) {
        if (merge->state == Setting::Unset || (merge->state == Setting::Valued && merge->value == "binary"))
            found.driver = MergeAttribute::Binary;
        else if (merge->state == Setting::Valued && merge->value == "union")
            found.driver = MergeAttribute::Union;
    }
    if (const Setting* size = decision.find("conflict-marker-size"); size && size->state == Setting::Valued)
        std::from_chars(size->value.data(), size->value.data() + size->value.size(), found.markerSize);
    if (found.markerSize < 1 || found.markerSize > 1000)
        found.markerSize = 7;
    return found;
}

} // namespace espalier
