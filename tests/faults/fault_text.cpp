// SPDX-License-Identifier: MIT
#include "tests/faults/fault_text.h"

#include "tests/faults/fault_run.h"

#include <algorithm>
#include <iterator>
#include <set>
#include <sstream>

namespace espalier::test {

namespace fs = std::filesystem;

std::vector<std::string> linesOf(const std::string& text)
{
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);)
        lines.push_back(line);
    return lines;
}

std::string capture(const std::string& script, const fs::path& folder)
{
    const Ran ran = run({"sh", "-c", script}, folder);
    return ran.out + ran.err;
}

// Every file of the worktree, contents and all, but for git's own.
std::string filesBelow(const fs::path& folder)
{
    std::set<std::string> lines;
    std::error_code error;
    for (fs::recursive_directory_iterator at(folder, error); at != fs::recursive_directory_iterator(); ++at) {
        if (at->path().filename() == ".git") {
            at.disable_recursion_pending();
            continue;
        }
        const std::string name = at->path().lexically_relative(folder).string();
        if (at->is_symlink())
            lines.insert(name + " -> " + fs::read_symlink(at->path()).string());
        else if (at->is_directory())
            lines.insert(name + "/");
        else
            lines.insert(name + " " + std::to_string(int(at->status().permissions() & fs::perms::owner_exec)) + " " +
                         readFile(at->path()));
    }
    std::string text;
    for (const std::string& line : lines)
        text += line + '\n';
    return text;
}

// Where two texts begin to differ, for people.
std::string difference(const std::string& a, const std::string& b)
{
    const auto left = linesOf(a), right = linesOf(b);
    const std::set<std::string> leftSet(left.begin(), left.end()), rightSet(right.begin(), right.end());
    std::string text;
    int shown = 0;
    for (const std::string& line : left)
        if (!rightSet.contains(line) && shown++ < 4)
            text += " -[" + line + "]";
    for (const std::string& line : right)
        if (!leftSet.contains(line) && shown++ < 8)
            text += " +[" + line + "]";
    return text;
}

std::string oneLine(std::string text)
{
    std::ranges::replace(text, '\n', '|');
    return text.substr(0, 600);
}

void add(std::vector<std::string>& to, std::vector<std::string> more)
{
    to.insert(to.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

} // namespace espalier::test
