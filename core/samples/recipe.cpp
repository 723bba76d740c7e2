// SPDX-License-Identifier: MIT
#include "core/samples/recipe.h"

#include "core/git/text.h"

#include <charconv>
#include <chrono>
#include <cstdio>
#include <sstream>

namespace espalier {

namespace {

// Takes the first word off `rest`.
std::string takeWord(std::string_view& rest)
{
    while (!rest.empty() && rest.front() == ' ')
        rest.remove_prefix(1);
    const std::size_t end = std::min(rest.find(' '), rest.size());
    std::string word(rest.substr(0, end));
    rest.remove_prefix(end);
    while (!rest.empty() && rest.front() == ' ')
        rest.remove_prefix(1);
    return word;
}

void appendUtf8(std::string& out, unsigned point)
{
    if (point < 0x80) {
        out += char(point);
    } else if (point < 0x800) {
        out += char(0xC0 | point >> 6);
        out += char(0x80 | (point & 63));
    } else {
        out += char(0xE0 | point >> 12);
        out += char(0x80 | (point >> 6 & 63));
        out += char(0x80 | (point & 63));
    }
}

// \xNN is a byte, \uNNNN a code point, \n a line end, \s a space, \\ a backslash; for names that an editor would hide.
std::string unescape(std::string_view text)
{
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] != '\\' || i + 1 >= text.size()) {
            out += text[i];
            continue;
        }
        const char kind = text[++i];
        const std::size_t digits = kind == 'x' ? 2 : kind == 'u' ? 4 : 0;
        unsigned value = 0;
        const char* const first = text.data() + i + 1;
        if (digits != 0 && i + digits < text.size() &&
            std::from_chars(first, first + digits, value, 16).ptr == first + digits) {
            if (kind == 'x')
                out += char(value);
            else
                appendUtf8(out, value);
            i += digits;
        } else if (kind == 'n') {
            out += '\n';
        } else if (kind == 's') {
            out += ' ';
        } else {
            out += kind;
        }
    }
    return out;
}

class Parser {
  public:
    explicit Parser(std::string (*find)(const std::string&)) : m_find(find) {}

    Result<Recipe> run(const std::string& text)
    {
        if (auto read = readText(text, 0); !read)
            return std::unexpected(read.error());
        for (const RecipeRef& ref : m_recipe.refs)
            if (!m_labels.contains(ref.label))
                return wrong(ref.line, "no commit is labelled '" + ref.label + "'");
        if (!m_recipe.people.contains(m_recipe.me))
            return wrong(m_line, "'me' must name a person of the recipe");
        return std::move(m_recipe);
    }

  private:
    std::unexpected<Error> wrong(int line, const std::string& expected) const
    {
        return fail(ErrorKind::Usage, "The recipe cannot be read: " + expected, "line " + std::to_string(line),
                    "See sample-repos/README.md for the format");
    }

    Result<void> readText(const std::string& text, int depth)
    {
        std::istringstream lines(text);
        std::string line;
        int number = 0;
        while (std::getline(lines, line)) {
            m_line = ++number;
            if (!line.empty() && line.back() == '\r')
                line.pop_back();
            if (auto read = readLine(line, depth); !read)
                return read;
            m_line = number;
        }
        m_edit = nullptr;
        return {};
    }

    Result<void> readLine(const std::string& line, int depth)
    {
        std::string_view rest = line;
        while (!rest.empty() && rest.front() == ' ')
            rest.remove_prefix(1);
        if (rest.empty() || rest.front() == '#')
            return {};
        if (rest.front() == '|' || rest.front() == '-' || rest.front() == '+')
            return readContent(rest);
        const std::string word = takeWord(rest);
        if (line.front() == ' ')
            return readEdit(word, rest);
        m_edit = nullptr;
        m_text = nullptr;
        return readStatement(word, rest, depth);
    }

    // "| text", "- text" and "+ text": a line of contents of the edit above. "|x" has escapes and no line end.
    Result<void> readContent(std::string_view rest)
    {
        const char mark = rest.front();
        rest.remove_prefix(1);
        const bool bare = mark == '|' && rest.starts_with('x');
        if (bare)
            rest.remove_prefix(1);
        if (rest.starts_with(' '))
            rest.remove_prefix(1);
        std::string* to = m_text;
        if (m_edit)
            to = mark == '-' ? &m_edit->oldText : &m_edit->newText;
        if (!to)
            return wrong(m_line, "contents without a file above");
        if (bare) {
            *to += unescape(rest);
        } else {
            *to += rest;
            *to += '\n';
        }
        return {};
    }

    Result<void> readEdit(const std::string& word, std::string_view rest)
    {
        static const std::map<std::string, RecipeEdit::Kind> kinds{
            {"write", RecipeEdit::Write}, {"replace", RecipeEdit::Replace},    {"delete", RecipeEdit::Delete},
            {"move", RecipeEdit::Move},   {"mode", RecipeEdit::Mode},          {"link", RecipeEdit::Link},
            {"carry", RecipeEdit::Carry}, {"submodule", RecipeEdit::Submodule}};
        if (word == "repeat" && m_edit) {
            const std::string count = takeWord(rest);
            int times = 0;
            if (std::from_chars(count.data(), count.data() + count.size(), times).ec != std::errc{} || times < 0 ||
                times > 1'000'000)
                return wrong(m_line, "'repeat' takes a number up to a million");
            for (int i = 0; i < times; ++i)
                m_edit->newText += unescape(rest);
            return {};
        }
        if (m_recipe.commits.empty())
            return wrong(m_line, "an indented line belongs to a commit");
        RecipeCommit& commit = m_recipe.commits.back();
        if (word == "subject" || word == "body") {
            if (!commit.message.empty())
                commit.message += '\n';
            commit.message += unescape(rest) + '\n';
            return {};
        }
        const auto kind = kinds.find(word);
        if (kind == kinds.end())
            return wrong(m_line, "'" + word + "' is no edit");
        RecipeEdit edit;
        edit.kind = kind->second;
        edit.line = m_line;
        if (edit.kind == RecipeEdit::Carry)
            edit.target = takeWord(rest);
        else
            edit.path = unescape(takeWord(rest));
        if (edit.kind == RecipeEdit::Move || edit.kind == RecipeEdit::Link || edit.kind == RecipeEdit::Mode)
            edit.target = unescape(takeWord(rest));
        commit.edits.push_back(std::move(edit));
        m_edit = &commit.edits.back();
        return {};
    }

    Result<void> readStatement(const std::string& word, std::string_view rest, int depth)
    {
        if (word == "summary") {
            m_recipe.summary = std::string(rest);
        } else if (word == "include") {
            const std::string name(rest);
            const std::string text = m_find ? m_find(name) : std::string();
            if (text.empty() || depth > 3)
                return wrong(m_line, "no recipe is called '" + name + "'");
            const std::string summary = m_recipe.summary;
            const auto read = readText(text, depth + 1);
            m_recipe.summary = summary.empty() ? m_recipe.summary : summary;
            return read;
        } else if (word == "person") {
            return readPerson(rest);
        } else if (word == "me") {
            m_recipe.me = std::string(rest);
        } else if (word == "commit") {
            return readCommitLine(rest);
        } else if (word == "ref" || word == "tag") {
            RecipeRef ref;
            ref.line = m_line;
            ref.place = takeWord(rest);
            ref.name = (word == "tag" ? "refs/tags/" : "refs/heads/") + unescape(takeWord(rest));
            ref.label = takeWord(rest);
            m_recipe.refs.push_back(std::move(ref));
        } else if (word == "checkout") {
            m_recipe.checkout = unescape(rest);
        } else if (word == "change") {
            m_text = &m_recipe.changes[unescape(rest)];
        } else {
            return wrong(m_line, "'" + word + "' is no statement");
        }
        return {};
    }

    // person KEY Name Of Person <address> +0100
    Result<void> readPerson(std::string_view rest)
    {
        const std::string key = takeWord(rest);
        const std::size_t open = rest.find('<');
        const std::size_t close = rest.find('>');
        if (open == std::string_view::npos || close == std::string_view::npos || close < open || open == 0)
            return wrong(m_line, "a person is KEY Name <address> +hhmm");
        Person person;
        person.name = unescape(rest.substr(0, open - 1));
        person.email = unescape(rest.substr(open + 1, close - open - 1));
        int hours = 0, minutes = 0, length = 0;
        char sign = '+';
        const std::string zone(rest.substr(close + 1));
        if (std::sscanf(zone.c_str(), " %c%2d%2d%n", &sign, &hours, &minutes, &length) != 3 ||
            std::size_t(length) != zone.size() || hours < 0 || hours > 14 || minutes < 0 || minutes > 59)
            return wrong(m_line, "a person ends with a time zone such as +0100");
        person.offsetMinutes = (sign == '-' ? -1 : 1) * (hours * 60 + minutes);
        m_recipe.people[key] = std::move(person);
        return {};
    }

    // commit LABEL [after LABEL…] by KEY [through KEY] at 2026-03-02 09:10
    Result<void> readCommitLine(std::string_view rest)
    {
        RecipeCommit commit;
        commit.line = m_line;
        commit.label = takeWord(rest);
        std::string author, committer, mode, day, time;
        while (!rest.empty()) {
            const std::string word = takeWord(rest);
            if (word == "after" || word == "by" || word == "through" || word == "at") {
                mode = word;
            } else if (mode == "after") {
                if (!m_labels.contains(word))
                    return wrong(m_line, "no commit above is labelled '" + word + "'");
                commit.parents.push_back(word);
            } else if (mode == "by") {
                author = word;
            } else if (mode == "through") {
                committer = word;
            } else if (mode == "at") {
                (day.empty() ? day : time) = word;
            }
        }
        int year = 0, month = 0, date = 0, hour = 0, minute = 0;
        if (!m_recipe.people.contains(author) || (!committer.empty() && !m_recipe.people.contains(committer)) ||
            std::sscanf(day.c_str(), "%d-%d-%d", &year, &month, &date) != 3 ||
            std::sscanf(time.c_str(), "%d:%d", &hour, &minute) != 2)
            return wrong(m_line, "a commit is LABEL [after LABEL] by PERSON at YYYY-MM-DD HH:MM");
        using namespace std::chrono;
        const year_month_day when = std::chrono::year(year) / month / date;
        if (year < 1970 || year > 2999 || !when.ok() || hour < 0 || hour > 23 || minute < 0 || minute > 59)
            return wrong(m_line, "there is no such day or time as '" + day + " " + time + "'");
        const sys_days days{when};
        commit.author = m_recipe.people[author];
        commit.author.when =
            days.time_since_epoch() / seconds(1) + hour * 3600 + minute * 60 - commit.author.offsetMinutes * 60;
        commit.committer = m_recipe.people[committer.empty() ? author : committer];
        commit.committer.when = commit.author.when + (committer.empty() ? 0 : 3600);
        if (!m_labels.emplace(commit.label, m_recipe.commits.size()).second)
            return wrong(m_line, "the label '" + commit.label + "' is taken");
        m_recipe.commits.push_back(std::move(commit));
        return {};
    }

    std::string (*m_find)(const std::string&);
    Recipe m_recipe;
    std::map<std::string, std::size_t> m_labels;
    RecipeEdit* m_edit = nullptr;
    std::string* m_text = nullptr;
    int m_line = 0;
};

} // namespace

Result<Recipe> parseRecipe(const std::string& text, std::string (*find)(const std::string&))
{
    return Parser(find).run(text);
}

} // namespace espalier
