// SPDX-License-Identifier: MIT
#include "core/conflicts/form_questions.h"

namespace espalier {

namespace {

std::string sidesWords(std::string_view what, std::string_view newBase, std::string_view commit)
{
    return std::string(what) + ": " + std::string(newBase) + " on the new base, " + std::string(commit) +
           " in your commit";
}

void leaveOpen(FormQuestion& question, std::string words, const FileForm& without, bool open)
{
    question.answers.push_back({std::move(words), without, open});
}

FormQuestion lineEndsQuestion(const TextForm& newBase, const TextForm& commit, const FileForm& form)
{
    FormQuestion question{sidesWords("Line ends", lineEndsName(newBase.lineEnds), lineEndsName(commit.lineEnds)), {}};
    FileForm with = form;
    for (const LineEnds ends : {LineEnds::Lf, LineEnds::CrLf}) {
        with.lineEnds = ends;
        question.answers.push_back({std::string(lineEndsName(ends)), with, form.lineEnds == ends});
    }
    with.lineEnds.reset();
    leaveOpen(question, "As each line has it", with, !form.lineEnds);
    return question;
}

// An encoding counts only where all three texts can be written in it.
FormQuestion encodingQuestion(const ConflictTexts& texts, const TextForm& newBase, const TextForm& commit,
                              const FileForm& form)
{
    FormQuestion question{sidesWords("Encoding", encodingName(newBase.encoding), encodingName(commit.encoding)), {}};
    const auto among = [&](Encoding encoding) { return newBase.encoding == encoding || commit.encoding == encoding; };
    FileForm with = form;
    for (const Encoding encoding : {Encoding::Utf8, Encoding::Utf8Mark, Encoding::Latin1}) {
        const bool plain = encoding == Encoding::Utf8 && among(Encoding::Ascii);
        FileForm alone;
        alone.encoding = encoding;
        if ((!among(encoding) && !plain) || !inForm(*texts.ancestor, alone) || !inForm(*texts.newBase, alone) ||
            !inForm(*texts.commit, alone))
            continue;
        with.encoding = encoding;
        question.answers.push_back({std::string(encodingName(encoding)), with, form.encoding == encoding});
    }
    with.encoding.reset();
    leaveOpen(question, "As each line has it", with, !form.encoding);
    return question;
}

FormQuestion modeQuestion(FileMode newBase, const FileForm& form)
{
    const auto name = [](bool executable) { return executable ? "executable" : "not executable"; };
    const bool there = newBase == FileMode::Executable;
    FormQuestion question{sidesWords("Mode", name(there), name(!there)), {}};
    FileForm with = form;
    for (const FileMode mode : {FileMode::Executable, FileMode::File}) {
        with.mode = mode;
        question.answers.push_back(
            {mode == FileMode::Executable ? "Executable" : "Not executable", with, form.mode == mode});
    }
    with.mode.reset();
    leaveOpen(question, "As the new base has it", with, !form.mode);
    return question;
}

} // namespace

std::vector<FormQuestion> formQuestions(const ConflictTexts& texts, const PathConflict& of, const FileForm& form)
{
    const FileMode newBase = of.newBase.mode, commit = of.commit.mode;
    std::vector<FormQuestion> questions;
    const TextForm ofNewBase = formOf(*texts.newBase), ofCommit = formOf(*texts.commit);
    if (lineEndsDiffer(ofNewBase, ofCommit))
        questions.push_back(lineEndsQuestion(ofNewBase, ofCommit, form));
    if (encodingsDiffer(ofNewBase, ofCommit))
        questions.push_back(encodingQuestion(texts, ofNewBase, ofCommit, form));
    // Where the ancestor was a file, one side has left its mode alone, and the other one's counts.
    if (isRegularFile(newBase) && isRegularFile(commit) && newBase != commit && !isRegularFile(of.ancestor.mode))
        questions.push_back(modeQuestion(newBase, form));
    return questions;
}

} // namespace espalier
