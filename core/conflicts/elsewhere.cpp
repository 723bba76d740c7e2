// SPDX-License-Identifier: MIT
#include "core/conflicts/elsewhere.h"

#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/merge/line_match.h"
#include "core/tree/differences.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>

namespace espalier {

namespace {

constexpr std::size_t mostFiles = 1'500, mostBytes = std::size_t(48) << 20, largestFile = std::size_t(1) << 20;
constexpr std::size_t mostNamed = 3; // files in a sentence
constexpr std::size_t mostTokens = 20'000;
constexpr std::size_t mostHunks = 200; // each is looked for in all of the file
constexpr int mostLinesUp = 5'000;     // from a hunk to the head of its function

bool inWord(char c)
{
    return std::isalnum(static_cast<unsigned char>(c)) || c == '_' || static_cast<unsigned char>(c) >= 0x80;
}
bool beginsWord(char c) { return inWord(c) && !std::isdigit(static_cast<unsigned char>(c)); }

std::string_view trimmed(std::string_view line)
{
    constexpr std::string_view space = " \t\r\n";
    const auto from = line.find_first_not_of(space);
    return from == std::string_view::npos ? std::string_view()
                                          : line.substr(from, line.find_last_not_of(space) + 1 - from);
}

std::vector<std::string_view> trimmedLines(std::string_view text)
{
    std::vector<std::string_view> lines;
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size());
        lines.push_back(trimmed(text.substr(0, end)));
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return lines;
}

std::size_t countWord(std::string_view text, std::string_view word)
{
    std::size_t count = 0;
    for (std::size_t at = text.find(word); at != std::string_view::npos; at = text.find(word, at + word.size())) {
        const bool begins = at == 0 || !inWord(text[at - 1]);
        const std::size_t end = at + word.size();
        count += begins && (end == text.size() || !inWord(text[end]));
    }
    return count;
}

std::string withoutSpace(std::string_view text)
{
    std::string bare;
    std::ranges::copy_if(text, std::back_inserter(bare),
                         [](char c) { return std::string_view(" \t\r\n").find(c) == std::string_view::npos; });
    return bare;
}

// A line that is found by itself: not a bracket, not `return x;`.
bool tells(std::string_view line) { return line.size() >= 10 && std::ranges::count_if(line, inWord) >= 6; }

// Where most of these lines stand in a text, in order and close together, but for the lines in `without`; -1: nowhere.
int placeOf(const std::vector<std::string_view>& lines, std::string_view text, const LineRange& without)
{
    const std::vector<std::string_view> in = trimmedLines(text);
    const auto outside = [&](std::size_t i) { return int(i) < without.first || int(i) >= without.end(); };
    for (std::size_t i = 0; i < in.size(); ++i) {
        if (!outside(i) || in[i] != lines.front())
            continue;
        std::size_t found = 1;
        const std::size_t end = std::min(in.size(), i + lines.size() * 2 + 4);
        for (std::size_t k = i + 1; k < end && found < lines.size(); ++k)
            found += outside(k) && in[k] == lines[found];
        if (found * 5 >= lines.size() * 4)
            return int(i);
    }
    return -1;
}

std::vector<std::string_view> wordsAndSigns(std::string_view text)
{
    std::vector<std::string_view> tokens;
    for (std::size_t at = 0; at < text.size();) {
        std::size_t end = at + 1;
        if (inWord(text[at]))
            while (end < text.size() && inWord(text[end]))
                ++end;
        tokens.push_back(text.substr(at, end - at));
        at = end;
    }
    return tokens;
}

std::string listed(const std::vector<std::string>& paths)
{
    std::string words;
    const std::size_t shown = std::min(paths.size(), mostNamed);
    for (std::size_t i = 0; i < shown; ++i)
        words += (i == 0 ? "" : i + 1 == paths.size() ? " and " : ", ") + displayText(paths[i], 60);
    return paths.size() > shown ? words + " and " + counted(paths.size() - shown, "other file", "other files") : words;
}

// What is to be found out about one side of a hunk.
struct Question {
    std::size_t hunk = 0;
    bool newBase = false;
    LineRange own;                         // the hunk's lines in the side's file
    std::vector<std::string_view> removed; // what tells, of the ancestor's lines that the side has not
    bool gone = false;                     // all of them
    Renaming renaming;
    std::string_view function;
    std::string movedTo; // found
    int movedLine = -1;
    std::vector<std::string> renamedIn, functionIn;
};

class Finder {
  public:
    Finder(const ConflictText& text, const Progress& progress) : m_text(text), m_progress(progress)
    {
        for (std::size_t i = 0; i < text.hunks.size(); ++i)
            for (const bool newBase : {true, false})
                ask(i, newBase);
    }

    // What the side changed in other files.
    Result<void> lookThrough(ObjectStore& store, const Oid& before, const Oid& after, bool newBase)
    {
        const auto needed = [&](const Question& one) {
            return one.newBase == newBase &&
                   (!one.removed.empty() || !one.renaming.from.empty() || !one.function.empty());
        };
        if (std::ranges::none_of(m_questions, needed))
            return {};
        const auto changes =
            treeChanges(StoreTrees{store}, before, after, [&](const std::string&) { return !m_progress.stopped(); });
        if (!changes)
            return std::unexpected(changes.error());
        if (!*changes)
            return cancelled();
        std::size_t files = 0, bytes = 0;
        for (const PathChange& change : **changes) {
            if (m_progress.stopped())
                return cancelled();
            if (change.path == m_text.path || !isRegularFile(change.after.mode))
                continue;
            if (++files > mostFiles || bytes > mostBytes)
                break;
            std::string texts[2];
            int side = 0;
            for (const PathEntry* entry : {&change.before, &change.after}) {
                std::string& text = texts[side++];
                const auto size = isRegularFile(entry->mode) ? store.size(entry->id) : Result<std::uint64_t>(0);
                if (!size)
                    return std::unexpected(size.error());
                if (*size == 0 || *size > largestFile)
                    continue;
                const auto blob = store.readOnce(entry->id, ObjectType::Blob);
                if (!blob)
                    return std::unexpected(blob.error());
                text = *blob->bytes;
                bytes += text.size();
            }
            for (Question& one : m_questions)
                if (needed(one))
                    lookAt(one, change.path, texts[0], texts[1]);
        }
        return {};
    }

    std::vector<std::vector<std::string>> notes() const
    {
        std::vector<std::vector<std::string>> all(m_text.hunks.size());
        for (const Question& one : m_questions)
            say(one, all[one.hunk]);
        return all;
    }

  private:
    const std::string& file(bool newBase) const { return newBase ? m_text.newBase : m_text.commit; }

    void ask(std::size_t index, bool newBase)
    {
        const ConflictHunk& hunk = m_text.hunks[index];
        const std::string& side = newBase ? hunk.newBaseText : hunk.commitText;
        Question one;
        one.hunk = index;
        one.newBase = newBase;
        one.own = newBase ? hunk.newBase : hunk.commit;
        const std::vector<std::string_view> old = trimmedLines(hunk.ancestorText);
        for (const ChangedLine& line : changeOf(hunk.ancestorText, side))
            if (line.kind == ChangedLine::Removed && tells(old[std::size_t(line.line)]))
                one.removed.push_back(old[std::size_t(line.line)]);
        // One line alone may stand in two places by chance.
        if (one.removed.size() < 2 && (one.removed.empty() || one.removed.front().size() < 40))
            one.removed.clear();
        one.gone = side.empty() && !hunk.ancestorText.empty();
        one.renaming = renamingBetween(hunk.ancestorText, side);
        if (!one.removed.empty() && placeOf(one.removed, m_text.ancestor, hunk.ancestor) < 0) {
            one.movedLine = placeOf(one.removed, file(newBase), one.own);
        } else if (!one.removed.empty()) {
            one.removed.clear(); // they stood in two places before
        }
        if (newBase && !hunk.ancestorText.empty()) {
            one.function = functionAround(m_text.ancestor, hunk.ancestor.first);
            if (one.function.size() < 4 || one.function == "main")
                one.function = {};
        }
        m_questions.push_back(std::move(one));
    }

    static void lookAt(Question& one, const std::string& path, const std::string& before, const std::string& after)
    {
        if (one.movedLine < 0 && !one.removed.empty() && after.contains(std::string(one.removed.front())) &&
            placeOf(one.removed, before, {}) < 0) {
            one.movedLine = placeOf(one.removed, after, {});
            if (one.movedLine >= 0)
                one.movedTo = path;
        }
        if (const auto& [from, to] = one.renaming; !from.empty())
            if (countWord(after, to) > countWord(before, to) && countWord(after, from) < countWord(before, from))
                one.renamedIn.push_back(path);
        if (!one.function.empty() && linesWith(before, one.function) != linesWith(after, one.function))
            one.functionIn.push_back(path);
    }

    static std::vector<std::string_view> linesWith(std::string_view text, std::string_view word)
    {
        std::vector<std::string_view> lines;
        for (std::size_t at = text.find(word); at != std::string_view::npos; at = text.find(word, at)) {
            const std::size_t from = text.rfind('\n', at) + 1, end = std::min(text.find('\n', at), text.size());
            if (const std::string_view line = text.substr(from, end - from); countWord(line, word) > 0)
                lines.push_back(trimmed(line));
            at = end;
        }
        return lines;
    }

    void say(const Question& one, std::vector<std::string>& notes) const
    {
        const ConflictHunk& hunk = m_text.hunks[one.hunk];
        const std::string who = one.newBase ? "The new base" : "Your commit";
        const std::string& side = one.newBase ? hunk.newBaseText : hunk.commitText;
        const std::string& other = one.newBase ? hunk.commitText : hunk.newBaseText;
        if (!hunk.ancestorText.empty() && side != hunk.ancestorText && !side.empty() &&
            withoutSpace(side) == withoutSpace(hunk.ancestorText))
            notes.push_back(who + (countLines(side) == countLines(hunk.ancestorText)
                                       ? " only changes the white space of these lines"
                                       : " only breaks these lines in other places"));
        // One word in one place is not a name that was changed.
        if (const auto& [from, to] = one.renaming; !from.empty() && (renamedMore(one) > 0 || !one.renamedIn.empty()))
            notes.push_back(who + " gives " + displayText(from, 60) + " the name " + displayText(to, 60) + ", " +
                            renamedWhere(one) +
                            (countWord(other, from) > 0
                                 ? (one.newBase ? "; your commit's lines say " : "; the new base's lines say ") +
                                       displayText(from, 60) + " still"
                                 : ""));
        if (one.movedLine >= 0)
            notes.push_back(who + " moves these lines to " +
                            (one.movedTo.empty() ? "" : displayText(one.movedTo, 80) + ", ") + "line " +
                            std::to_string(one.movedLine + 1));
        else if (one.gone && !one.removed.empty())
            notes.push_back(who + " deletes these lines; they stand in no other file that it changes");
        if (!one.functionIn.empty() && one.functionIn.size() <= 20)
            notes.push_back(who + " also changes lines with " + displayText(one.function, 60) + " in " +
                            listed(one.functionIn));
    }

    // In this file, outside the hunk.
    std::size_t renamedMore(const Question& one) const
    {
        const ConflictHunk& hunk = m_text.hunks[one.hunk];
        const std::string& from = one.renaming.from;
        const std::size_t before = countWord(m_text.ancestor, from) - countWord(hunk.ancestorText, from),
                          now = countWord(file(one.newBase), from) -
                                countWord(one.newBase ? hunk.newBaseText : hunk.commitText, from);
        return before > now ? before - now : 0;
    }

    std::string renamedWhere(const Question& one) const
    {
        std::string words = "here";
        const std::size_t more = renamedMore(one);
        if (more > 0)
            words += (one.renamedIn.empty() ? " and in " : ", in ") +
                     counted(more, "other place of this file", "other places of this file");
        if (!one.renamedIn.empty())
            words += " and in " + listed(one.renamedIn);
        return words;
    }

    const ConflictText& m_text;
    const Progress& m_progress;
    std::vector<Question> m_questions;
};

} // namespace

Renaming renamingBetween(std::string_view before, std::string_view after)
{
    const std::vector<std::string_view> old = wordsAndSigns(before), now = wordsAndSigns(after);
    if (old.size() + now.size() > mostTokens)
        return {};
    std::map<std::string_view, std::uint32_t> numbers;
    const auto numbered = [&](const std::vector<std::string_view>& tokens) {
        std::vector<std::uint32_t> all;
        for (const std::string_view token : tokens)
            all.push_back(numbers.try_emplace(token, std::uint32_t(numbers.size())).first->second);
        return all;
    };
    const std::vector<std::uint32_t> a = numbered(old), b = numbered(now);
    const std::vector<int> at = matchNumbers(a, b);
    // Between two tokens that stayed, as many that went as came: each took the place of one.
    std::map<std::pair<std::string_view, std::string_view>, int> pairs;
    std::size_t from = 0, to = 0;
    for (std::size_t i = 0; i <= at.size(); ++i) {
        if (i < at.size() && at[i] < 0)
            continue;
        const std::size_t there = i < at.size() ? std::size_t(at[i]) : now.size();
        for (std::size_t k = 0; i - from == there - to && k < i - from; ++k)
            if (beginsWord(old[from + k].front()) && beginsWord(now[to + k].front()) && old[from + k].size() > 1)
                ++pairs[{old[from + k], now[to + k]}];
        from = i + 1;
        to = there + 1;
    }
    Renaming found;
    int most = 0;
    for (const auto& [pair, times] : pairs)
        if (times > most && !std::ranges::contains(now, pair.first) && !std::ranges::contains(old, pair.second)) {
            found = {std::string(pair.first), std::string(pair.second)};
            most = times;
        }
    return found;
}

std::string_view functionAround(std::string_view text, int line)
{
    constexpr std::array<std::string_view, 16> keywords{"def",    "fn",        "func", "function", "class", "struct",
                                                        "enum",   "interface", "sub",  "trait",    "impl",  "module",
                                                        "object", "macro",     "type", "proc"};
    constexpr std::array<std::string_view, 10> noNames{"if",   "for",    "while", "switch", "return",
                                                       "else", "sizeof", "catch", "using",  "include"};
    const std::string_view last = linesOf(text, {line, 1});
    std::string_view above =
        text.substr(0, last.empty() ? text.size() : std::size_t(last.data() + last.size() - text.data()));
    for (int up = 0; up < mostLinesUp && !above.empty(); ++up) {
        if (above.ends_with('\n'))
            above.remove_suffix(1);
        const std::size_t from = above.rfind('\n') + 1; // 0 where there is none
        const std::string_view at = above.substr(from);
        above = above.substr(0, from);
        const std::vector<std::string_view> tokens = wordsAndSigns(at);
        for (std::size_t i = 0; i + 2 < tokens.size(); ++i)
            if (std::ranges::contains(keywords, tokens[i]) && (i == 0 || !inWord(tokens[i - 1].front())) &&
                tokens[i + 1] == " " && beginsWord(tokens[i + 2].front()))
                return tokens[i + 2];
        if (at.empty() || !beginsWord(at.front()))
            continue;
        for (std::size_t i = 1; i < tokens.size(); ++i)
            if (tokens[i] == "(" && beginsWord(tokens[i - 1].front()) && !std::ranges::contains(noNames, tokens[i - 1]))
                return tokens[i - 1];
    }
    return {};
}

Result<std::vector<std::vector<std::string>>> elsewhere(const Repository& repository, const DryRun& run,
                                                        std::size_t commit, const ConflictText& text,
                                                        const Progress& progress)
{
    if (commit >= run.commits.size())
        return fail(ErrorKind::Usage, "The dry run has no such conflict", run.plan.label, "Make the dry run again");
    if (text.wholePath || text.hunks.empty() || text.hunks.size() > mostHunks)
        return std::vector<std::vector<std::string>>(text.hunks.size());
    ObjectStore store(repository);
    if (run.objects)
        store.replaceNewObjects(*run.objects);
    Finder finder(text, progress);
    const auto own = readCommit(store, run.commits[commit].id), onto = readCommit(store, run.plan.onto);
    if (!own || !onto)
        return std::unexpected(!own ? own.error() : onto.error());
    const auto parent = treeOf(store, own->parents.empty() ? Oid() : own->parents.front()),
               base = treeOf(store, run.plan.mergeBase);
    if (!parent || !base)
        return std::unexpected(!parent ? parent.error() : base.error());
    auto done = finder.lookThrough(store, *base, onto->tree, true).and_then([&] {
        return finder.lookThrough(store, *parent, own->tree, false);
    });
    if (!done)
        return std::unexpected(done.error());
    return finder.notes();
}

} // namespace espalier
