// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/propose/proposer.h"

#include <cstdio>
#include <iostream>

namespace espalier {

namespace {

// PATH<TAB>ANCESTOR<TAB>NEWBASE<TAB>COMMIT[<TAB>ONTO[<TAB>SETTLED]]
struct Line {
    ProposalQuestion question;
    std::optional<Oid> settled;
};

Result<Line> lineFrom(std::string_view text)
{
    std::vector<std::string_view> fields;
    for (std::size_t at = 0; at <= text.size();) {
        const std::size_t end = std::min(text.find('\t', at), text.size());
        fields.push_back(text.substr(at, end - at));
        at = end + 1;
    }
    Line line;
    line.question.path = fields[0];
    if (fields.size() < 4 || fields.size() > 6)
        return fail(ErrorKind::Usage,
                    "A line is PATH, ANCESTOR, NEWBASE, COMMIT and perhaps ONTO and SETTLED, with tabs between",
                    std::to_string(fields.size()) + " fields");
    std::array<Oid, 5> ids;
    for (std::size_t i = 1; i < fields.size(); ++i) {
        if (i > 3 && fields[i].empty())
            continue;
        const auto id = Oid::parse(fields[i]);
        if (!id)
            return fail(ErrorKind::Usage, "This is no full object id", std::string(fields[i]), "Give forty digits");
        ids[i - 1] = *id;
    }
    line.question.ancestor = ids[0];
    line.question.newBase = ids[1];
    line.question.commit = ids[2];
    if (!ids[3].isZero())
        line.question.onto = ids[3];
    if (!ids[4].isZero())
        line.settled = ids[4];
    return line;
}

nlohmann::json jsonRange(const LineRange& range) { return {range.first, range.count}; }

nlohmann::json jsonHunk(const ProposedHunk& hunk)
{
    nlohmann::json proposal;
    if (hunk.proposal)
        proposal = {{"kind", hunk.proposal->kind},
                    {"text", jsonText(hunk.proposal->text)},
                    {"reason", jsonText(hunk.proposal->reason)}};
    return {{"ancestor", jsonRange(hunk.ancestor)},
            {"newBase", jsonRange(hunk.newBase)},
            {"commit", jsonRange(hunk.commit)},
            {"proposal", proposal}};
}

// `path` is what the line begins with, whether or not the rest can be read.
nlohmann::json answerTo(Proposer& proposer, const Result<Line>& line, std::string_view path, bool texts,
                        const Progress& progress)
{
    nlohmann::json answer{{"path", jsonText(path)}};
    const auto file = line ? proposer.propose(line->question, progress) : std::unexpected(line.error());
    if (!file) {
        answer["error"] = jsonText(file.error().line());
        return answer;
    }
    nlohmann::json& hunks = answer["hunks"] = nlohmann::json::array();
    for (const ProposedHunk& hunk : file->hunks)
        hunks.push_back(jsonHunk(hunk));
    if (texts) {
        nlohmann::json& between = answer["between"] = nlohmann::json::array();
        for (const std::string& stretch : file->between)
            between.push_back(jsonText(stretch));
    }
    return answer;
}

} // namespace

Result<ExitStatus> runPropose(const Arguments& arguments)
{
    if (!arguments.has("batch") || !arguments.has("json"))
        return fail(ErrorKind::Usage, "Proposals are asked for by lines and answered in JSON", "propose",
                    "Use --batch --json; the manual has the form of a line");
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const Interrupt interrupt;
    const Progress progress = interrupt.progress();
    Proposer proposer(*repository);
    bool whole = true;
    for (std::string text; std::getline(std::cin, text);) {
        if (progress.stopped())
            return fail(ErrorKind::Cancelled, "Stopped", "propose");
        const auto line = lineFrom(text);
        const std::string_view path = std::string_view(text).substr(0, text.find('\t'));
        const nlohmann::json answer = answerTo(proposer, line, path, arguments.has("texts"), progress);
        printJson(answer);
        (void)std::fflush(stdout);
        // Learnt when the answer is out: it can have no part in it.
        if (line && line->settled && !answer.contains("error"))
            if (const auto learnt = proposer.settled(*line->settled); !learnt)
                printNotices({learnt.error().line()});
        whole &= !answer.contains("error");
    }
    return whole ? exitDone : exitError;
}

} // namespace espalier
