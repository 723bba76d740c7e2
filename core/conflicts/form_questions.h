// SPDX-License-Identifier: MIT
//
// What the sides of a conflicting text differ in as a whole (line ends, encoding, whether it may be executed), in words, with the
// answers that there are. An answer settles the form of the file; the merge in that form asks only what is left.
//
//     for (const FormQuestion& question : formQuestions(*texts, conflict.path, form)) …
//     question.words;               // "Line ends: LF on the new base, CR LF in your commit"
//     question.answers[0].words;    // "LF"
#pragma once

#include "core/settle/file_form.h"

#include <string>
#include <vector>

namespace espalier {

struct FormAnswer {
    std::string words;
    FileForm form; // the whole form with this answer in it
    bool chosen = false;
};
struct FormQuestion {
    std::string words;
    std::vector<FormAnswer> answers; // at least two; the last one leaves each line as its side has it
};

// `texts` as the sides have them, `form` what is settled of it so far.
std::vector<FormQuestion> formQuestions(const ConflictTexts& texts, const PathConflict& of, const FileForm& form);

} // namespace espalier
