// SPDX-License-Identifier: MIT
#include "core/refs/ref_name.h"

#include "core/git/library.h"
#include "core/git/text.h"

#include <git2.h>

namespace espalier {

bool isRefName(const std::string& name)
{
    startLibrary();
    int valid = 0;
    return !name.contains('\0') && git_reference_name_is_valid(&valid, name.c_str()) == 0 && valid == 1;
}

bool isBranchName(const std::string& name)
{
    startLibrary();
    int valid = 0;
    // git takes "@" for HEAD, and a name is bytes up to the first zero to libgit2.
    return name != "@" && !name.contains('\0') && git_branch_name_is_valid(&valid, name.c_str()) == 0 && valid == 1;
}

std::string branchRef(std::string_view branch) { return std::string(headsPrefix).append(branch); }

std::string shortBranchName(std::string_view ref)
{
    return ref.starts_with(headsPrefix) ? std::string(ref.substr(headsPrefix.size())) : std::string();
}

std::string_view branchOrRef(std::string_view ref)
{
    return ref.starts_with(headsPrefix) ? ref.substr(headsPrefix.size()) : ref;
}

std::string shownRef(std::string_view ref) { return displayText(branchOrRef(ref), 300); }

std::string pullRequestOf(std::string_view ref)
{
    constexpr std::string_view all = "refs/";
    const bool tracking = ref.starts_with(trackingPrefix);
    if (!ref.starts_with(all) || ref.starts_with(headsPrefix) || ref.starts_with(tagsPrefix))
        return {};
    ref.remove_prefix(tracking ? trackingPrefix.size() : all.size());
    for (const std::string_view end : {"/head", "/merge"})
        if (ref.ends_with(end))
            ref.remove_suffix(end.size());
    const std::size_t last = ref.rfind('/');
    if (last == std::string_view::npos)
        return {};
    const std::string_view number = ref.substr(last + 1), kind = ref.substr(0, last);
    constexpr std::size_t longest = 9;
    if (number.empty() || number.size() > longest || number.find_first_not_of("0123456789") != std::string_view::npos)
        return {};
    for (const std::string_view name : {"pull", "pr", "merge-requests"})
        if (tracking ? kind.size() > name.size() && kind.ends_with(name) && kind[kind.size() - name.size() - 1] == '/'
                     : kind == name)
            return std::string(number);
    return {};
}

bool standInEachOthersWay(std::string_view a, std::string_view b)
{
    const std::string_view shorter = a.size() < b.size() ? a : b, longer = a.size() < b.size() ? b : a;
    return longer.size() > shorter.size() && longer.starts_with(shorter) && longer[shorter.size()] == '/';
}

std::string inTheWay(const std::set<std::string>& names, const std::string& name)
{
    const auto below = names.lower_bound(name + "/");
    if (below != names.end() && standInEachOthersWay(*below, name))
        return *below;
    for (std::size_t slash = name.find('/'); slash != std::string::npos; slash = name.find('/', slash + 1)) {
        if (const auto above = names.find(name.substr(0, slash)); above != names.end())
            return *above;
    }
    return {};
}

} // namespace espalier
