// SPDX-License-Identifier: MIT
#include "core/merge/attributes.h"

#include "core/git/tree.h"

#include <charconv>
#include <fnmatch.h>
#include <sstream>

namespace espalier {

Result<MergeAttributes::Rules> MergeAttributes::rulesOf(ObjectStore& store, const Oid& blob)
{
    if (const auto at = m_rules.find(blob); at != m_rules.end())
        return at->second;
    const auto object = store.read(blob, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    auto rules = std::make_shared<std::vector<Rule>>();
    constexpr std::size_t mostBytes = std::size_t(1) << 20;
    std::istringstream lines(object->bytes->substr(0, mostBytes));
    for (std::string line; std::getline(lines, line);) {
        std::istringstream words(line);
        Rule rule;
        if (!(words >> rule.pattern) || rule.pattern.starts_with('#') || rule.pattern.starts_with("[attr]"))
            continue;
        for (std::string word; words >> word;)
            rule.settings.push_back(word);
        rule.anchored = rule.pattern.find('/') != std::string::npos;
        if (rule.pattern.starts_with('/'))
            rule.pattern.erase(0, 1);
        rules->push_back(std::move(rule));
    }
    if (m_rules.size() > 256)
        m_rules.clear();
    m_rules[blob] = rules;
    return Rules(rules);
}

bool MergeAttributes::matches(const Rule& rule, const std::string& below)
{
    if (!rule.anchored)
        return fnmatch(rule.pattern.c_str(), below.substr(below.rfind('/') + 1).c_str(), 0) == 0;
    // "**" crosses folders, which fnmatch does when it is not told that '/' is special.
    const int flags = rule.pattern.find("**") == std::string::npos ? FNM_PATHNAME : 0;
    return fnmatch(rule.pattern.c_str(), below.c_str(), flags) == 0;
}

Result<PathAttributes> MergeAttributes::of(ObjectStore& store, const Oid& tree, const std::string& path)
{
    PathAttributes found;
    Oid folder = tree;
    std::string_view rest = path;
    while (true) {
        const auto object = store.read(folder, ObjectType::Tree);
        if (!object)
            return std::unexpected(object.error());
        const auto entries = parseTree(object->view());
        if (!entries)
            return std::unexpected(entries.error());
        const std::size_t slash = rest.find('/');
        Oid next;
        for (const TreeEntry& entry : *entries) {
            if (entry.name == ".gitattributes" && entry.mode != FileMode::Tree && entry.mode != FileMode::Submodule) {
                const auto rules = rulesOf(store, entry.id);
                if (!rules)
                    return std::unexpected(rules.error());
                for (const Rule& rule : **rules) {
                    if (!matches(rule, std::string(rest)))
                        continue;
                    for (const std::string& setting : rule.settings) {
                        if (setting == "merge=union")
                            found.driver = MergeAttribute::Union;
                        else if (setting == "merge=binary" || setting == "-merge" || setting == "binary")
                            found.driver = MergeAttribute::Binary;
                        else if (setting == "merge" || setting == "!merge" || setting.starts_with("merge="))
                            found.driver = MergeAttribute::Text;
                        else if (setting.starts_with("conflict-marker-size="))
                            std::from_chars(setting.data() + 21, setting.data() + setting.size(), found.markerSize);
                    }
                }
            }
            if (slash != std::string_view::npos && entry.isTree() && entry.name == rest.substr(0, slash))
                next = entry.id;
        }
        if (next.isZero())
            break;
        folder = next;
        rest.remove_prefix(slash + 1);
    }
    if (found.markerSize < 1 || found.markerSize > 1000)
        found.markerSize = 7;
    return found;
}

} // namespace espalier
