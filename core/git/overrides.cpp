// SPDX-License-Identifier: MIT
#include "core/git/overrides.h"

#include "core/git/mapped_file.h"
#include "core/git/text.h"

#include <map>

namespace espalier {

namespace {

template <typename Take> void eachLine(const std::filesystem::path& path, Take take)
{
    const auto file = MappedFile::open(path);
    if (!file)
        return;
    std::string_view text = file->bytes();
    while (!text.empty()) {
        const std::size_t end = text.find('\n');
        take(text.substr(0, end));
        text.remove_prefix(end == text.npos ? text.size() : end + 1);
    }
}

} // namespace

std::optional<std::vector<Oid>> Overrides::parentsOf(const Oid& commit) const
{
    if (shallow.contains(commit))
        return std::vector<Oid>{};
    if (const auto graft = grafts.find(commit); graft != grafts.end())
        return graft->second;
    return std::nullopt;
}

std::vector<std::string> Overrides::notices() const
{
    std::vector<std::string> lines;
    if (!shallow.empty())
        lines.push_back("The history is cut off at " + counted(shallow.size(), "commit", "commits") +
                        " (a shallow clone); what is older is not here.");
    if (!grafts.empty())
        lines.push_back(counted(grafts.size(), "commit has", "commits have") +
                        " other parents than recorded (info/grafts).");
    if (!replaced.objects.empty())
        lines.push_back(counted(replaced.objects.size(), "object is", "objects are") +
                        " shown as replaced (refs/replace).");
    return lines;
}

Overrides readOverrides(const Repository& repository)
{
    Overrides overrides;
    const auto common = repository.commonDir();
    eachLine(common / "shallow", [&](std::string_view line) {
        if (const auto id = Oid::parse(line.substr(0, 40))) {
            overrides.shallow.insert(*id);
            overrides.fingerprint += "s" + id->hex();
        }
    });
    eachLine(common / "info/grafts", [&](std::string_view line) {
        const auto id = Oid::parse(line.substr(0, 40));
        if (!id)
            return;
        std::vector<Oid> parents;
        overrides.fingerprint += "g" + id->hex();
        for (line.remove_prefix(40); line.size() >= 41; line.remove_prefix(41))
            if (const auto parent = Oid::parse(line.substr(1, 40))) {
                parents.push_back(*parent);
                overrides.fingerprint += parent->hex();
            }
        overrides.grafts.insert_or_assign(*id, std::move(parents));
    });
    overrides.replaced = readReplaced(repository);
    const std::map<Oid, Oid> inOrder(overrides.replaced.objects.begin(), overrides.replaced.objects.end());
    for (const auto& [id, other] : inOrder)
        overrides.fingerprint += "r" + id.hex() + other.hex();
    return overrides;
}

} // namespace espalier
