// SPDX-License-Identifier: MIT
#include "tests/support/random_history.h"

#include <algorithm>

namespace espalier::test {

namespace {

using Contents = std::map<std::string, std::string>; // by path with its "exe:" or "link:" prefix

std::string bare(const std::string& path)
{
    for (const char* prefix : {"exe:", "link:"})
        if (path.starts_with(prefix))
            return path.substr(std::string(prefix).size());
    return path;
}

class Author {
  public:
    Author(SmallRandom& random, const HistoryKnobs& knobs) : m_random(random), m_knobs(knobs) {}

    std::string newPath()
    {
        static const char* const folders[] = {"core", "docs", "lib", "notes"};
        std::string path;
        for (int depth = m_random.below(m_knobs.depth + 1); depth > 0; --depth)
            path += std::string(folders[m_random.below(4)]) + "/";
        return path + "f" + std::to_string(m_random.below(m_knobs.files * 2)) + (m_random.chance(50) ? ".txt" : ".c");
    }

    std::string line() { return "line " + std::to_string(m_random.below(m_random.chance(20) ? 4 : 100000)) + "\n"; }

    std::string text()
    {
        std::string text;
        for (int lines = m_random.below(40); lines >= 0; --lines)
            text += line();
        if (m_random.chance(5))
            text.pop_back();
        return text;
    }

    // Replaces, inserts or deletes a few lines near one place.
    std::string edited(const std::string& text)
    {
        std::vector<std::string> lines;
        for (std::size_t at = 0; at < text.size();) {
            const std::size_t end = std::min(text.find('\n', at), text.size() - 1) + 1;
            lines.push_back(text.substr(at, end - at));
            at = end;
        }
        for (int edits = 1 + m_random.below(3); edits > 0; --edits) {
            const int at = m_random.below(int(lines.size()) + 1);
            switch (m_random.below(3)) {
            case 0:
                lines.insert(lines.begin() + at, line());
                break;
            case 1:
                if (at < int(lines.size()))
                    lines[std::size_t(at)] = line();
                break;
            default:
                if (at < int(lines.size()))
                    lines.erase(lines.begin() + at);
            }
        }
        std::string result;
        for (const std::string& one : lines)
            result += one;
        return result;
    }

    // A path that fits into the tree: no file of its name, nor where it wants a folder, nor below it.
    static bool fits(const Contents& files, const std::string& path)
    {
        return std::ranges::none_of(files, [&](const auto& file) {
            const std::string other = bare(file.first);
            return other == path || other.starts_with(path + "/") || path.starts_with(other + "/");
        });
    }

    void change(Contents& files)
    {
        const int kind = m_random.below(100);
        if (files.empty() || kind >= 88) {
            if (const std::string path = newPath(); fits(files, path))
                files[path] = text();
            return;
        }
        const auto at = std::next(files.begin(), m_random.below(int(files.size())));
        auto [path, contents] = *at;
        int limit = m_knobs.renamePercent;
        if (kind < limit) {
            files.erase(at);
            if (m_knobs.renameFolders && m_random.chance(50))
                return renameFolder(files, path, contents);
            const std::string to = newPath();
            if (fits(files, to))
                files[(path == bare(path) ? "" : path.substr(0, path.find(':') + 1)) + to] =
                    m_random.chance(50) || path.starts_with("link:") ? contents : edited(contents);
        } else if (kind < (limit += m_knobs.kindPercent)) {
            changeKind(files, path, contents);
        } else if (kind < (limit += m_knobs.deletePercent)) {
            files.erase(at);
        } else if (!path.starts_with("link:")) {
            files[path] = edited(contents);
        }
    }

  private:
    void renameFolder(Contents& files, const std::string& path, const std::string& contents)
    {
        files[path] = contents;
        const std::string name = bare(path);
        const std::size_t slash = name.find('/');
        if (slash == std::string::npos)
            return;
        const std::string from = name.substr(0, slash + 1), to = "moved" + std::to_string(m_random.below(3)) + "/";
        Contents moved;
        for (const auto& [old, text] : files) {
            const std::string plain = bare(old);
            moved[plain.starts_with(from) ? old.substr(0, old.size() - plain.size()) + to + plain.substr(from.size())
                                          : old] = text;
        }
        if (moved.size() == files.size())
            files = moved;
    }

    void changeKind(Contents& files, const std::string& path, const std::string& contents)
    {
        files.erase(path);
        const std::string plain = bare(path);
        switch (m_random.below(3)) {
        case 0:
            files[path == plain ? "exe:" + plain : plain] = contents;
            break;
        case 1:
            files["link:" + plain] = "target" + std::to_string(m_random.below(3));
            break;
        default:
            if (fits(files, plain + "/inside.txt"))
                files[plain + "/inside.txt"] = text();
        }
    }

    SmallRandom& m_random;
    const HistoryKnobs& m_knobs;
};

Files difference(const Contents& from, const Contents& to)
{
    Files changes;
    for (const auto& [path, contents] : from)
        if (!to.contains(path))
            changes[bare(path)] = std::nullopt;
    for (const auto& [path, contents] : to)
        if (const auto old = from.find(path); old == from.end() || old->second != contents) {
            changes.erase(bare(path));
            changes[path] = contents;
        }
    return changes;
}

} // namespace

std::vector<MergeCase> randomMerges(const TempRepository& into, std::uint64_t seed, const HistoryKnobs& knobs)
{
    SmallRandom random(seed);
    Author author(random, knobs);
    BulkHistory bulk;
    std::vector<std::array<int, 3>> marks;
    Contents files;
    for (int i = 0; i < knobs.files; ++i)
        if (const std::string path = author.newPath(); Author::fits(files, path))
            files[path] = author.text();
    int base = bulk.commit("base", {}, difference({}, files), "Base");
    for (int i = 0; i < knobs.merges; ++i) {
        std::array<int, 3> mark{base, 0, 0};
        for (const int side : {1, 2}) {
            Contents changed = files;
            for (int changes = 1 + random.below(knobs.changes); changes > 0; --changes)
                author.change(changed);
            mark[std::size_t(side)] = bulk.commit("side", {base}, difference(files, changed), "Side");
        }
        marks.push_back(mark);
        if (i % 5 == 4) {
            Contents next = files;
            for (int changes = 0; changes < 4; ++changes)
                author.change(next);
            while (int(next.size()) < knobs.files / 2)
                if (const std::string path = author.newPath(); Author::fits(next, path))
                    next[path] = author.text();
            base = bulk.commit("base", {base}, difference(files, next), "Base");
            files = std::move(next);
        }
    }
    const std::vector<std::string> ids = bulk.import(into);
    std::vector<MergeCase> cases;
    for (const auto& mark : marks)
        cases.push_back({ids[std::size_t(mark[0])], ids[std::size_t(mark[1])], ids[std::size_t(mark[2])]});
    return cases;
}

} // namespace espalier::test
