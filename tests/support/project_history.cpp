// SPDX-License-Identifier: MIT
#include "tests/support/project_history.h"

#include <algorithm>

namespace espalier::test {

namespace {

struct Made {
    std::string prefix; // "", "exe:", "link:" or "sub:", as in Files
    std::string bytes;
    friend bool operator==(const Made&, const Made&) = default;
};
using Tree = std::map<std::string, Made>;

std::string folderOf(const std::string& path)
{
    const std::size_t slash = path.rfind('/');
    return slash == std::string::npos ? std::string() : path.substr(0, slash);
}
std::string nameOf(const std::string& path) { return path.substr(path.rfind('/') + 1); }
std::string joined(const std::string& folder, const std::string& name)
{
    return folder.empty() ? name : folder + "/" + name;
}

std::vector<std::string> linesOf(const std::string& text)
{
    std::vector<std::string> lines;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = std::min(text.find('\n', at), text.size() - 1) + 1;
        lines.push_back(text.substr(at, end - at));
        at = end;
    }
    return lines;
}
std::string textOf(const std::vector<std::string>& lines)
{
    std::string text;
    for (const std::string& line : lines)
        text += line;
    return text;
}

class Project {
  public:
    Project(SmallRandom& random, const ProjectKnobs& knobs) : m_random(random), m_knobs(knobs) {}

    Tree start()
    {
        Tree tree;
        for (int i = 0; i < m_knobs.files * 2 && int(tree.size()) < m_knobs.files; ++i)
            create(tree);
        if (m_knobs.attributes)
            attributes(tree);
        return tree;
    }

    void change(Tree& tree)
    {
        const int kind = m_random.below(100);
        if (tree.size() < 4)
            return create(tree);
        if (kind < m_knobs.movesPercent)
            return move(tree);
        if (kind < m_knobs.movesPercent + m_knobs.kindPercent)
            return changeKind(tree);
        switch (m_random.below(10)) {
        case 0:
            return create(tree);
        case 1:
            return remove(tree);
        case 2:
            return m_knobs.attributes ? attributes(tree) : create(tree);
        default: {
            auto& made = any(tree)->second;
            if (made.prefix == "link:")
                made.bytes = "target" + std::to_string(m_random.below(3));
            else if (made.prefix == "sub:")
                made.bytes = submodule();
            else
                made.bytes = edited(made.bytes);
        }
        }
    }

  private:
    const char* pick(std::initializer_list<const char*> words)
    {
        return words.begin()[m_random.below(int(words.size()))];
    }

    std::string someFolder()
    {
        std::string folder;
        for (int depth = m_random.below(4); depth > 0; --depth)
            folder =
                joined(folder, pick({"src", "lib", "core", "net", "docs", "unit", "packages", "one", "two", "Two"}));
        return folder;
    }
    std::string someName()
    {
        if (m_random.chance(3))
            return pick({"caf\xe9.txt", "\xff\xfe", "a b\tc", "\"quoted\""});
        if (m_random.chance(45))
            return pick({"mod.rs", "index.js", "__init__.py", "Makefile", "package.json", "README.md", "readme.md"});
        return "part" + std::to_string(m_random.below(m_knobs.files)) + pick({".c", ".h", ".py"});
    }
    // No file of its name, nor where it wants a folder, nor below it.
    static bool fits(const Tree& tree, const std::string& path)
    {
        const auto below = tree.lower_bound(path + "/");
        if (tree.contains(path) || (below != tree.end() && below->first.starts_with(path + "/")))
            return false;
        for (std::string folder = folderOf(path); !folder.empty(); folder = folderOf(folder))
            if (tree.contains(folder))
                return false;
        return true;
    }
    Tree::iterator any(Tree& tree) { return std::next(tree.begin(), m_random.below(int(tree.size()))); }
    std::string newPathIn(const Tree& tree)
    {
        for (int tries = 0; tries < 5; ++tries)
            if (std::string path = joined(someFolder(), someName()); fits(tree, path))
                return path;
        return "extra" + std::to_string(m_random.below(1000000));
    }

    // ---- contents

    std::string ownLine() { return "own " + std::to_string(m_random.below(m_random.chance(15) ? 5 : 1000000)) + "\n"; }

    std::string textFor(const std::string& name)
    {
        if (m_random.chance(4))
            return {};
        if (m_random.chance(6))
            return binary();
        if (m_random.chance(8))
            return std::string("the same everywhere\n") + (m_random.chance(50) ? "and here\n" : "");
        SmallRandom shared(std::hash<std::size_t>()(name.size()) + std::uint64_t(static_cast<unsigned char>(name[0])));
        std::string text;
        const bool crLf = m_random.chance(8);
        for (int lines = 1 + m_random.below(m_knobs.bigFiles ? 2000 : 40); lines > 0; --lines) {
            const std::string common =
                shared.chance(40) ? pickShared(shared) : "line " + std::to_string(shared.below(500)) + "\n";
            std::string line = m_random.chance(m_knobs.alikePercent) ? common : ownLine();
            if (crLf)
                line.insert(line.size() - 1, "\r");
            text += line;
        }
        if (m_random.chance(6))
            text.pop_back();
        return text;
    }
    static std::string pickShared(SmallRandom& shared)
    {
        static const char* const words[] = {"{\n", "}\n", "\n", "    return 0;\n", "    }\n", "/*\n", " */\n"};
        return words[shared.below(7)];
    }
    std::string binary()
    {
        std::string bytes("\0bin", 4);
        for (int i = 20 + m_random.below(400); i > 0; --i)
            bytes += char(m_random.below(256));
        return bytes;
    }
    std::string submodule()
    {
        std::string hex;
        for (int i = 0; i < 40; ++i)
            hex += "0123456789abcdef"[m_random.below(i < 2 ? 16 : 2)];
        return hex;
    }

    std::string edited(const std::string& text)
    {
        if (text.empty())
            return ownLine();
        if (text.substr(0, 8000).contains('\0')) {
            std::string bytes = text;
            for (int i = 1 + m_random.below(1 + int(bytes.size()) / 8); i > 0; --i)
                bytes[std::size_t(m_random.below(int(bytes.size())))] = char(m_random.below(256));
            return bytes;
        }
        std::vector<std::string> lines = linesOf(text);
        switch (m_random.below(24)) {
        case 0: // other line ends
            for (std::string& line : lines)
                if (line.ends_with("\r\n"))
                    line.erase(line.size() - 2, 1);
                else if (line.ends_with('\n'))
                    line.insert(line.size() - 1, "\r");
            return textOf(lines);
        case 1:
            return text.ends_with('\n') ? text.substr(0, text.size() - 1) : text + "\n";
        case 2:
            return rewritten(text, 30 + m_random.below(40)); // near the limit of what counts as renamed
        case 3:
            std::ranges::reverse(lines);
            return textOf(lines);
        case 4:
            return text + ownLine() + ownLine();
        default:
            break;
        }
        const std::string end = text.contains("\r\n") && m_random.chance(80) ? "\r\n" : "\n";
        for (int edits = 1 + m_random.below(3); edits > 0; --edits) {
            const int at = m_random.below(int(lines.size()) + 1);
            std::string line = ownLine();
            line.replace(line.size() - 1, 1, end);
            switch (m_random.below(4)) {
            case 0:
                lines.insert(lines.begin() + at, line);
                break;
            case 1:
                lines.insert(lines.begin() + at, {pickShared(m_random), line, pickShared(m_random)});
                break;
            case 2:
                if (at < int(lines.size()))
                    lines[std::size_t(at)] = line;
                break;
            default:
                if (at < int(lines.size()))
                    lines.erase(lines.begin() + at,
                                lines.begin() + std::min(int(lines.size()), at + 1 + m_random.below(4)));
            }
        }
        return textOf(lines);
    }
    std::string rewritten(const std::string& text, int percent)
    {
        std::vector<std::string> lines = linesOf(text);
        for (std::string& line : lines)
            if (m_random.chance(percent))
                line = ownLine();
        return textOf(lines);
    }
    // What becomes of a file's contents while it moves.
    Made moved(Made made)
    {
        if (!made.prefix.empty() && made.prefix != "exe:")
            return made;
        const int kind = m_random.below(100);
        if (kind >= 45)
            made.bytes = kind < 80 ? edited(made.bytes) : rewritten(made.bytes, 20 + m_random.below(50));
        return made;
    }

    // ---- changes

    void create(Tree& tree)
    {
        const std::string path = newPathIn(tree);
        if (m_knobs.submodules && m_random.chance(8))
            tree[path] = {"sub:", submodule()};
        else if (m_random.chance(4))
            tree[path] = {"link:", "target" + std::to_string(m_random.below(3))};
        else
            tree[path] = {m_random.chance(5) ? "exe:" : "", textFor(nameOf(path))};
    }
    void remove(Tree& tree)
    {
        if (m_random.chance(80)) {
            tree.erase(any(tree));
            return;
        }
        const std::string folder = folderOf(any(tree)->first);
        if (!folder.empty())
            std::erase_if(tree, [&](const auto& file) { return file.first.starts_with(folder + "/"); });
    }
    void put(Tree& tree, const std::string& path, Made made)
    {
        if (fits(tree, path))
            tree[path] = std::move(made);
    }

    void move(Tree& tree)
    {
        const auto at = any(tree);
        const std::string path = at->first;
        const Made made = at->second;
        switch (m_random.below(12)) {
        case 0:
        case 1: // another folder, the same name
            tree.erase(at);
            return put(tree, joined(someFolder(), nameOf(path)), moved(made));
        case 2: // another name
            tree.erase(at);
            return put(tree, joined(folderOf(path), someName()), moved(made));
        case 3:
            tree.erase(at);
            return put(tree, newPathIn(tree), moved(made));
        case 4: { // another case
            std::string name = nameOf(path);
            for (char& c : name)
                c = char(c >= 'a' && c <= 'z' ? c - 32 : c >= 'A' && c <= 'Z' ? c + 32 : c);
            tree.erase(at);
            return put(tree, joined(folderOf(path), name), moved(made));
        }
        case 5: // copied, then changed
            put(tree, newPathIn(tree), moved(made));
            return;
        case 6: { // split in two
            const std::vector<std::string> lines = linesOf(made.bytes);
            if (lines.size() < 4 || made.prefix == "link:" || made.prefix == "sub:")
                return;
            const auto half = lines.begin() + 2 + m_random.below(int(lines.size()) - 3);
            tree.erase(at);
            put(tree, newPathIn(tree), {made.prefix, textOf({lines.begin(), half})});
            return put(tree, newPathIn(tree), {made.prefix, textOf({half, lines.end()})});
        }
        case 7: { // swapped
            const auto other = any(tree);
            std::swap(at->second, other->second);
            return;
        }
        default:
            return moveFolder(tree, folderOf(path));
        }
    }

    void moveFolder(Tree& tree, std::string from)
    {
        while (m_random.chance(30) && from.contains('/'))
            from = folderOf(from);
        if (from.empty())
            return;
        std::string to;
        switch (m_random.below(6)) {
        case 0:
            to = joined(from, pick({"inner", "main"}));
            break;
        case 1:
            to = folderOf(from);
            break;
        case 2:
            to = joined(folderOf(from), pick({"renamed", "new", "moved"}));
            break;
        case 3: { // into one that is there
            to = folderOf(any(tree)->first);
            break;
        }
        default:
            to = joined(someFolder(), nameOf(from));
        }
        if (to == from)
            return;
        const int share = m_random.chance(70) ? 100 : 60;
        Tree next, taken;
        for (auto& [path, made] : tree)
            if (path.starts_with(from + "/") && m_random.chance(share))
                taken[joined(to, path.substr(from.size() + 1))] = m_random.chance(70) ? made : moved(made);
            else
                next[path] = made;
        for (auto& [path, made] : taken)
            put(next, path, made);
        if (next.size() > 3)
            tree = std::move(next);
    }

    void changeKind(Tree& tree)
    {
        const auto at = any(tree);
        const std::string path = at->first;
        Made& made = at->second;
        switch (m_random.below(5)) {
        case 0:
            if (made.prefix.empty() || made.prefix == "exe:")
                made.prefix = made.prefix.empty() ? "exe:" : "";
            return;
        case 1:
            made = {"link:", "target" + std::to_string(m_random.below(3))};
            return;
        case 2:
            made = {"", textFor(nameOf(path))};
            return;
        case 3:
            if (m_knobs.submodules)
                made = {"sub:", submodule()};
            return;
        default: {
            if (path == ".gitattributes")
                return;
            Made inner = moved(made);
            tree.erase(at);
            put(tree, path + "/" + someName(), std::move(inner));
        }
        }
    }

    void attributes(Tree& tree)
    {
        std::string text;
        for (int lines = 1 + m_random.below(4); lines > 0; --lines)
            text += std::string(pick(
                        {"*", "*.c", "*.py", "README.md", "src/**", "/lib/*.h", "**/mod.rs", "docs/", "part[0-4]*"})) +
                    " " +
                    pick({"merge=union", "-text", "binary", "conflict-marker-size=9", "-merge", "merge", "!merge",
                          "text=auto eol=lf", "merge=binary", "merge=text", "generated", "merge=unknown"}) +
                    "\n";
        if (m_random.chance(30))
            text = "[attr]generated -diff -merge\n" + text;
        const std::string path = joined(m_random.chance(70) ? "" : someFolder(), ".gitattributes");
        if (fits(tree, path) || (tree.contains(path) && tree[path].prefix.empty()))
            tree[path] = {"", text};
    }

    SmallRandom& m_random;
    const ProjectKnobs& m_knobs;
};

Files difference(const Tree& from, const Tree& to)
{
    Files changes;
    for (const auto& [path, made] : from)
        if (!to.contains(path))
            changes[path] = std::nullopt;
    for (const auto& [path, made] : to)
        if (const auto old = from.find(path); old == from.end() || old->second != made)
            changes[made.prefix + path] = made.bytes;
    return changes;
}

void configure(const TempRepository& into, const ProjectKnobs& knobs)
{
    for (const auto& [name, value] : knobs.config)
        into.git({"config", QString::fromStdString(name), QString::fromStdString(value)});
}

} // namespace

ProjectKnobs ProjectKnobs::of(std::uint64_t seed)
{
    ProjectKnobs knobs;
    knobs.seed = seed;
    static const int sizes[] = {14, 30, 60, 140};
    knobs.files = sizes[seed % 4];
    knobs.farChanges = seed % 3 == 1 ? 12 : seed % 3 == 2 ? 4 : knobs.files > 20 ? 60 : 25;
    if (seed % 17 == 16)
        knobs.files = 400, knobs.farChanges = 200, knobs.merges = 30;
    knobs.alikePercent = int(seed * 17 % 90);
    knobs.attributes = seed % 5 == 2;
    knobs.submodules = seed % 3 == 1;
    knobs.bigFiles = seed % 11 == 5; // common lines occur far more often than a diff may count
    if (knobs.bigFiles)
        knobs.files = 25, knobs.alikePercent = 60 + int(seed % 30);
    switch (seed % 13) {
    case 1:
        knobs.config = {{"merge.renameLimit", std::to_string(1 + seed % 7)}};
        break;
    case 3:
        knobs.config = {{"diff.renameLimit", std::to_string(1 + seed % 5)}};
        break;
    case 5:
        knobs.config = {{"merge.directoryRenames", "true"}};
        break;
    case 7:
        knobs.config = {{"merge.directoryRenames", "false"}};
        break;
    case 9:
        knobs.config = {{"diff.renames", "copies"}, {"merge.renameLimit", "0"}};
        break;
    case 11:
        knobs.config = {{"merge.renames", "copy"}, {"merge.directoryRenames", "conflict"}};
        break;
    default:
        break;
    }
    return knobs;
}

std::vector<MergeCase> projectMerges(const TempRepository& into, const ProjectKnobs& knobs)
{
    configure(into, knobs);
    SmallRandom random(knobs.seed * 7919 + 3);
    Project project(random, knobs);
    BulkHistory bulk;
    std::vector<std::array<int, 3>> marks;
    Tree files = project.start();
    int base = bulk.commit("base", {}, difference({}, files), "Base");
    for (int i = 0; i < knobs.merges; ++i) {
        std::array<int, 3> mark{base, 0, 0};
        for (const int side : {1, 2}) {
            Tree changed = files;
            // Mostly the new base has gone far; now and then the commit is the big one.
            const bool far = (side == 1) != (i % 6 == 5);
            for (int changes = 1 + random.below(far ? knobs.farChanges : knobs.nearChanges); changes > 0; --changes)
                project.change(changed);
            mark[std::size_t(side)] = bulk.commit("side", {base}, difference(files, changed), "Side");
        }
        marks.push_back(mark);
        if (i % 5 == 4) {
            files = project.start();
            base = bulk.commit("base", {}, difference({}, files), "Base");
        }
    }
    const std::vector<std::string> ids = bulk.import(into);
    std::vector<MergeCase> cases;
    for (const auto& mark : marks)
        cases.push_back({ids[std::size_t(mark[0])], ids[std::size_t(mark[1])], ids[std::size_t(mark[2])]});
    return cases;
}

std::vector<TopicCase> projectTopics(const TempRepository& into, const ProjectKnobs& knobs)
{
    configure(into, knobs);
    SmallRandom random(knobs.seed * 104729 + 11);
    Project project(random, knobs);
    BulkHistory bulk;
    struct Topic {
        int base, onto;
        std::vector<int> commits;
    };
    std::vector<Topic> topics;
    for (int i = 0; i < knobs.merges; ++i) {
        const Tree files = project.start();
        Topic topic;
        topic.base = topic.onto = bulk.commit("base", {}, difference({}, files), "Base");
        Tree main = files;
        for (int changes = 1 + random.below(knobs.farChanges); changes > 0; --changes) {
            const Tree before = main;
            project.change(main);
            if (main != before)
                topic.onto = bulk.commit("main", {topic.onto}, difference(before, main), "Main");
        }
        Tree mine = files;
        int parent = topic.base;
        for (int commits = 2 + random.below(14); commits > 0; --commits) {
            const Tree before = mine;
            for (int changes = 1 + random.below(3); changes > 0; --changes)
                project.change(mine);
            if (mine != before)
                topic.commits.push_back(parent = bulk.commit("topic", {parent}, difference(before, mine), "Topic"));
        }
        if (!topic.commits.empty() && topic.onto != topic.base)
            topics.push_back(topic);
    }
    const std::vector<std::string> ids = bulk.import(into);
    std::vector<TopicCase> cases;
    for (const Topic& topic : topics) {
        TopicCase made{ids[std::size_t(topic.base)], ids[std::size_t(topic.onto)], {}, {}};
        for (const int mark : topic.commits)
            made.commits.push_back(ids[std::size_t(mark)]);
        made.tip = made.commits.back();
        cases.push_back(std::move(made));
    }
    return cases;
}

} // namespace espalier::test
