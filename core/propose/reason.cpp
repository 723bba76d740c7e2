// SPDX-License-Identifier: MIT
#include "core/propose/reason.h"

#include "core/git/text.h"

namespace espalier {

namespace {

std::string_view settledWith(CandidateKind kind)
{
    switch (kind) {
    case CandidateKind::NewBase:
        return "settled with the new base's text";
    case CandidateKind::Commit:
        return "settled with your commit's text";
    case CandidateKind::NewBaseFirst:
        return "settled with both, the new base's first";
    case CandidateKind::CommitFirst:
        return "settled with both, yours first";
    case CandidateKind::Words:
        return "settled with the changes of both within the lines";
    case CandidateKind::Lines:
        return "settled with the lines of both";
    case CandidateKind::Sorted:
        return "settled with the lines of both, sorted";
    case CandidateKind::Higher:
        return "settled with the higher number";
    case CandidateKind::Before:
        return "settled with the same text as this one";
    }
    return {};
}

std::string where(Alike alike, std::string_view path)
{
    const std::size_t slash = path.rfind('/');
    const std::string_view name = slash == path.npos ? path : path.substr(slash + 1);
    const std::size_t dot = name.rfind('.');
    switch (alike) {
    case Alike::Exact:
        return "with the same texts";
    case Alike::Masked:
        return "with the same texts but for numbers";
    case Alike::Path:
        return "in " + displayText(path);
    case Alike::PathEdits:
        return "like this in " + displayText(path);
    case Alike::Name:
        return "in files named " + displayText(name);
    case Alike::NameEdits:
        return "like this in files named " + displayText(name);
    case Alike::Merge:
        return "on this new base";
    case Alike::MergeEdits:
    case Alike::MergeHonours:
        return "like this on this new base";
    case Alike::MergeFolder:
        return "in this folder on this new base";
    case Alike::MergeEnding:
        return "in files of this kind on this new base";
    case Alike::Folder:
        return "in this folder";
    case Alike::Ending:
    case Alike::EndingEdits:
    case Alike::EndingHonours:
        return (alike == Alike::Ending ? "in " : "like this in ") +
               (dot == name.npos ? "files named " + displayText(name)
                                 : "files that end in ." + displayText(name.substr(dot + 1)));
    case Alike::NewBaseEdit:
        return "with the same change of the new base";
    case Alike::CommitEdit:
        return "with the same change of your commit";
    case Alike::Who:
    case Alike::WhoHonours:
        return "on commits by the same author";
    default:
        return "like this in this project";
    }
}

} // namespace

std::string reasonFor(const Guess& guess, std::string_view path)
{
    const bool one = guess.counts.of == 1;
    return std::to_string(guess.counts.right) + " of " + std::to_string(guess.counts.of) + ' ' +
           where(guess.alike, path) + (one ? " was " : " were ") + std::string(settledWith(guess.kind));
}

} // namespace espalier
