// SPDX-License-Identifier: MIT
#include "core/settle/remarks.h"

#include "core/git/text.h"

#include <algorithm>
#include <array>
#include <unordered_set>

namespace espalier {

namespace {

constexpr std::size_t mostRemarks = 100;
constexpr std::size_t mostWords = 60;   // bytes of a line that are quoted
constexpr int rareShare = 20;           // one indented line in so many is no habit of a side
constexpr std::size_t nearest = 20;     // lines away that a neighbour may be
constexpr std::size_t neighbours = 3;   // indented lines above and below that are looked at
constexpr std::size_t fewestAround = 2; // of them, that all have to be of another kind

struct Line {
    std::string_view words; // without its end
    bool crLf = false, ended = false;
};

std::vector<Line> linesIn(std::string_view text)
{
    std::vector<Line> lines;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = text.find('\n', at);
        Line line{text.substr(at, end - at), false, end != std::string_view::npos};
        if (line.ended && line.words.ends_with('\r')) {
            line.crLf = true;
            line.words.remove_suffix(1);
        }
        lines.push_back(line);
        at = line.ended ? end + 1 : text.size();
    }
    return lines;
}

// The sign of the marker that the line is; 0 for none.
char markerSign(std::string_view line, int size)
{
    const char sign = line.empty() ? '\0' : line.front();
    const auto count = std::min(line.find_first_not_of(sign), line.size());
    if (!std::string_view("<|=>").contains(sign) || sign == '\0' || count != std::size_t(size))
        return '\0';
    if (line.size() == count)
        return sign;
    return sign != '=' && line[count] == ' ' ? sign : '\0';
}

// Characters between the outer blanks.
std::size_t widthOf(std::string_view line)
{
    while (!line.empty() && (line.front() == ' ' || line.front() == '\t'))
        line.remove_prefix(1);
    while (!line.empty() && (line.back() == ' ' || line.back() == '\t'))
        line.remove_suffix(1);
    return std::size_t(std::ranges::count_if(line, [](char byte) { return (byte & 0xC0) != 0x80; }));
}

enum Indent : std::uint8_t { None, Blanks, Tabs, BlanksThenTab };

// A comment's star stands where it belongs in every kind of file, often behind a single blank, which is no step of indentation.
Indent indentOf(std::string_view line)
{
    const std::size_t end = std::min(line.find_first_not_of(" \t"), line.size());
    const std::string_view before = line.substr(0, end);
    if (end == line.size() || line[end] == '*' || before.size() < (before == " " ? 2u : 1u))
        return None;
    if (before.find(" \t") != std::string_view::npos)
        return BlanksThenTab;
    return before.front() == '\t' ? Tabs : Blanks;
}

struct Side {
    std::vector<Line> lines;
    std::array<int, 4> indented{}; // by Indent
    int lf = 0, crLf = 0;

    explicit Side(std::string_view text) : lines(linesIn(text))
    {
        for (const Line& line : lines) {
            ++indented[indentOf(line.words)];
            lf += line.ended && !line.crLf;
            crLf += line.crLf;
        }
    }
    bool mixesEnds() const { return lf > 0 && crLf > 0; }
    bool usesIndent(Indent kind, int share = rareShare) const
    {
        return indented[kind] * share > indented[Blanks] + indented[Tabs] + indented[BlanksThenTab];
    }
};

std::string quoted(std::string_view line)
{
    return "“" + displayText(line.substr(0, line.find_last_not_of(" \t") + 1), mostWords) + "”";
}

class Judge {
  public:
    Judge(const JudgedTexts& texts, int markerSize) : m_settled(texts.settled), m_size(markerSize)
    {
        for (const auto& text : {texts.ancestor, texts.newBase, texts.commit})
            if (text)
                m_sides.emplace_back(*text);
    }

    std::vector<Remark> remarks()
    {
        markers();
        lineEnds();
        indentation();
        std::ranges::stable_sort(m_remarks, {}, &Remark::line);
        if (m_remarks.size() > mostRemarks)
            m_remarks.resize(mostRemarks);
        return std::move(m_remarks);
    }

  private:
    void say(Remark::Kind kind, std::size_t line, std::string words)
    {
        m_remarks.push_back({kind, int(line), std::move(words)});
    }

    // Lines that a side has, so that what is not among them was written while settling. Only asked for where it matters.
    bool isNew(std::string_view line)
    {
        if (!m_known) {
            m_known.emplace();
            for (const Side& side : m_sides)
                for (const Line& known : side.lines)
                    m_known->insert(known.words);
        }
        return !m_known->contains(line);
    }

    bool belongsToTitle(std::size_t at) const
    {
        const auto isTitle = [&](std::size_t line) {
            const std::string_view words = m_settled.lines[line].words;
            return widthOf(words) == std::size_t(m_size) && markerSign(words, m_size) == '\0';
        };
        return (at > 0 && isTitle(at - 1)) || (at + 1 < m_settled.lines.size() && isTitle(at + 1));
    }

    void markers()
    {
        bool within =
            false; // behind a new `<`, before its `>`: a `=` there is a marker even where a side has such a line
        for (std::size_t i = 0; i < m_settled.lines.size() && m_remarks.size() < mostRemarks; ++i) {
            const std::string_view line = m_settled.lines[i].words;
            const char sign = markerSign(line, m_size);
            if (sign == '\0' || (!isNew(line) && !(within && sign == '=')))
                continue;
            if (sign == '<' || sign == '>')
                within = sign == '<';
            if (sign != '=' || within || !belongsToTitle(i))
                say(Remark::Marker, i, "a conflict marker is left: " + quoted(line));
        }
    }

    void lineEnds()
    {
        if (!m_settled.mixesEnds() || std::ranges::any_of(m_sides, &Side::mixesEnds))
            return;
        const bool rareCrLf = m_settled.crLf <= m_settled.lf;
        const auto first = std::ranges::find_if(m_settled.lines,
                                                [&](const Line& line) { return line.ended && line.crLf == rareCrLf; });
        say(Remark::LineEnds, std::size_t(first - m_settled.lines.begin()),
            "line ends are mixed as on no side: " + counted(std::size_t(m_settled.crLf), "line", "lines") +
                " with CR LF, " + std::to_string(m_settled.lf) + " with LF");
    }

    // Of the nearest indented lines that a side has: whether they are of one kind, another than this.
    bool standsOut(std::size_t at, Indent kind)
    {
        std::size_t seen = 0;
        bool same = false;
        const auto look = [&](std::size_t line, std::size_t& found) {
            const Indent other = indentOf(m_settled.lines[line].words);
            if (other == None || (other == kind && isNew(m_settled.lines[line].words)))
                return;
            same = same || other == kind;
            ++found;
        };
        std::size_t above = 0, below = 0;
        for (std::size_t i = at; i-- > 0 && above < neighbours && i + nearest >= at;)
            look(i, above);
        for (std::size_t i = at + 1; i < m_settled.lines.size() && below < neighbours && i <= at + nearest; ++i)
            look(i, below);
        seen = above + below;
        return !same && seen >= fewestAround;
    }

    void indentation()
    {
        std::array<bool, 4> rare{};
        for (const Indent kind : {Blanks, Tabs, BlanksThenTab})
            rare[kind] = m_settled.indented[kind] > 0 && !m_settled.usesIndent(kind, 2) && // half of it is a new habit
                         std::ranges::none_of(m_sides, [&](const Side& side) { return side.usesIndent(kind); });
        std::size_t last = m_settled.lines.size(); // the line remarked on before
        for (std::size_t i = 0; i < m_settled.lines.size() && m_remarks.size() < mostRemarks; ++i) {
            const std::string_view line = m_settled.lines[i].words;
            const Indent kind = indentOf(line);
            if (!rare[kind] || !isNew(line) || !standsOut(i, kind))
                continue;
            const bool goesOn = last + 1 == i; // one remark for lines below each other
            last = i;
            if (goesOn)
                continue;
            say(Remark::Indentation, i,
                kind == Tabs     ? "indented with tabs, where the lines around it are not"
                : kind == Blanks ? "indented with blanks, where the lines around it have tabs"
                                 : "indented with blanks before a tab, as no line around it");
        }
    }

    std::vector<Side> m_sides;
    Side m_settled;
    int m_size;
    std::optional<std::unordered_set<std::string_view>> m_known;
    std::vector<Remark> m_remarks;
};

} // namespace

std::vector<Remark> remarksOn(const JudgedTexts& texts, int markerSize) { return Judge(texts, markerSize).remarks(); }

} // namespace espalier
