// SPDX-License-Identifier: MIT
#include "core/propose/file_hunks.h"

#include "core/propose/places.h"
#include "core/propose/words.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostBytes = 400'000; // of a hunk: nobody settles such a one by hand

bool hasMarkers(std::string_view text)
{
    return std::ranges::any_of(linesIn(text), [](std::string_view line) {
        return line.starts_with("<<<<<<< ") || line.starts_with(">>>>>>> ");
    });
}

} // namespace

FileHunks fileHunks(std::string path, std::string_view ancestor, std::string_view newBase, std::string_view commit)
{
    return fileHunks(std::move(path), ancestor, newBase, commit, mergeTexts(ancestor, newBase, commit));
}

FileHunks fileHunks(std::string path, std::string_view ancestor, std::string_view newBase, std::string_view commit,
                    const TextMerge& merge)
{
    FileHunks file;
    file.facts.path = std::move(path);
    file.facts.hunks = int(merge.hunks.size());
    for (const TextPiece& piece : merge.pieces) {
        int* const lines = piece.origin == PieceOrigin::NewBase  ? &file.facts.newBaseLines
                           : piece.origin == PieceOrigin::Commit ? &file.facts.commitLines
                           : piece.origin == PieceOrigin::Both   ? &file.facts.bothLines
                                                                 : nullptr;
        if (lines)
            *lines += piece.result.count;
    }
    for (const Segment& segment : segmentsOf(merge, ancestor, newBase, commit)) {
        if (!segment.conflict) {
            file.between.emplace_back(segment.text);
            continue;
        }
        const TextHunk& hunk = merge.hunks[segment.hunk];
        AskedHunk& asked = file.hunks.emplace_back(AskedHunk{hunk.ancestor, hunk.newBase, hunk.commit, {}, {}, {}});
        const HunkTexts texts{segment.ancestor, segment.newBase, segment.commit};
        if (texts.ancestor.size() + texts.newBase.size() + texts.commit.size() > mostBytes)
            continue;
        asked.candidates = candidatesFor(texts);
        asked.facts = factsOf(texts, asked.candidates);
    }
    return file;
}

void noteSettled(FileHunks& file, std::string_view settled)
{
    if (file.hunks.empty() || isBinary(settled) || hasMarkers(settled))
        return;
    const std::vector<std::string_view> between(file.between.begin(), file.between.end());
    const auto places = settledPlaces(between, settled);
    LineReader reader(settled);
    for (std::size_t i = 0; i < file.hunks.size(); ++i) {
        if (!places[i] || file.hunks[i].candidates.empty())
            continue;
        file.hunks[i].place = *places[i];
        file.hunks[i].facts.settled = sumOf(evened(reader.read(*places[i])));
    }
}

Record::Learnt learntOf(const FileHunks& file)
{
    Record::Learnt learnt{file.facts, {}};
    for (const AskedHunk& hunk : file.hunks)
        learnt.hunks.push_back(hunk.facts);
    return learnt;
}

} // namespace espalier
