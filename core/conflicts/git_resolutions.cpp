// SPDX-License-Identifier: MIT
#include "core/conflicts/git_resolutions.h"

#include "core/git/files.h"
#include "core/git/sha1.h"
#include "core/merge/line_match.h"
#include "core/settle/compose.h"

#include <algorithm>
#include <chrono>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t largestImage = std::size_t(16) << 20;
constexpr int mostVariants = 64; // git keeps several resolutions of conflicts that differ only around the hunks

bool looksLikeMarker(std::string_view text)
{
    for (std::size_t at = 0; at < text.size();) {
        const std::string_view line = text.substr(at, std::min(text.find('\n', at), text.size()) - at);
        for (const char* marker : {"<<<<<<<", "=======", ">>>>>>>", "|||||||"})
            if (line.starts_with(marker))
                return true;
        at += line.size() + 1;
    }
    return false;
}

// Before a marker each side ends with its line.
std::string wholeLines(const std::string& side, const std::string& lineEnd)
{
    return side.empty() || side.ends_with('\n') ? side : side + lineEnd;
}

std::string nameOf(const char* image, int variant)
{
    return variant == 0 ? image : image + ('.' + std::to_string(variant));
}

std::int64_t timeOf(const fs::path& file)
{
    std::error_code unknown;
    const auto written = fs::last_write_time(file, unknown);
    if (unknown)
        return 0;
    const auto since = std::chrono::file_clock::to_sys(written).time_since_epoch();
    return std::chrono::duration_cast<std::chrono::seconds>(since).count();
}

// What a variant makes of the conflict as it is now, as git does it: three ways.
std::optional<std::string> resolvedBy(const std::string& preimage, const std::string& postimage, const std::string& now)
{
    if (preimage == now)
        return postimage;
    TextMerge merge = mergeTexts(preimage, now, postimage);
    return merge.clean() ? std::optional(std::move(merge.bytes)) : std::nullopt;
}

FileSettlement settledOf(const ConflictText& text, const Settlements& settlements)
{
    FileSettlement settled = stillHolding(settlements.find(text.key), text);
    if (const auto choice = settlements.defaultChoice(); choice && !settlements.find(text.key))
        for (std::size_t i = 0; i < settled.hunkCount(); ++i)
            settled.decide(i, {*choice, {}});
    return settled;
}

} // namespace

std::optional<ConflictImage> conflictImage(const ConflictText& parts)
{
    const ConflictText text = withWholeHunks(parts);
    if (text.wholePath || text.hunks.empty() || text.form.any()) // in another form git does not meet it
        return std::nullopt;
    ConflictImage image;
    Sha1 sum;
    for (std::size_t i = 0; i < text.between.size(); ++i) {
        if (looksLikeMarker(text.between[i]))
            return std::nullopt;
        image.bytes += text.between[i];
        if (i == text.hunks.size())
            break;
        const ConflictHunk& hunk = text.hunks[i];
        if (looksLikeMarker(hunk.newBaseText) || looksLikeMarker(hunk.commitText))
            return std::nullopt;
        const std::string newBase = wholeLines(hunk.newBaseText, hunk.lineEnd),
                          commit = wholeLines(hunk.commitText, hunk.lineEnd);
        const auto& [first, second] = std::minmax(newBase, commit);
        image.bytes += "<<<<<<<\n" + first + "=======\n" + second + ">>>>>>>\n";
        for (const std::string* side : {&first, &second})
            sum.add({side->c_str(), side->size() + 1});
    }
    image.name = sum.finish();
    return image;
}

std::vector<std::optional<std::string>> hunksIn(const std::vector<std::string>& between, std::string_view settled)
{
    std::string all;
    std::vector<int> starts{0}; // of the stretches' lines in `all`
    for (const std::string& stretch : between) {
        appendLines(all, stretch);
        starts.push_back(countLines(all));
    }
    const std::vector<int> at = matchLines(all, settled);
    const int lines = countLines(settled);
    std::vector<std::optional<std::string>> hunks;
    for (std::size_t i = 1; i < between.size(); ++i) {
        // The line before the hunk and the one behind it: where a stretch is empty the file's edge, else the hunk beside it
        // would have to be told apart from this one.
        const int before = starts[i] > starts[i - 1] ? at[std::size_t(starts[i]) - 1] : i == 1 ? -1 : -2;
        const bool follows = starts[i + 1] > starts[i];
        const int behind = follows ? at[std::size_t(starts[i])] : i + 1 == between.size() ? lines : -1;
        const bool known = (before >= 0 || (before == -1 && starts[i] == starts[i - 1])) && behind > before;
        hunks.push_back(known ? std::optional(std::string(linesOf(settled, {before + 1, behind - before - 1})))
                              : std::nullopt);
    }
    return hunks;
}

GitResolutions::GitResolutions(const Repository& repository) : m_folder(repository.commonDir() / "rr-cache")
{
    std::error_code unknown;
    m_enabled = repository.configBool("rerere.enabled", fs::is_directory(m_folder, unknown));
}

std::optional<GitResolutions::Found> GitResolutions::find(const ConflictText& text) const
{
    const auto image = m_enabled ? conflictImage(text) : std::nullopt;
    if (!image)
        return std::nullopt;
    const fs::path folder = m_folder / image->name.hex();
    for (int variant = 0; variant < mostVariants; ++variant) {
        const auto preimage = readFileBounded(folder / nameOf("preimage", variant), largestImage),
                   postimage = readFileBounded(folder / nameOf("postimage", variant), largestImage);
        if (!preimage || !postimage)
            continue;
        if (const auto settled = resolvedBy(*preimage, *postimage, image->bytes))
            return Found{hunksIn(withWholeHunks(text).between, *settled),
                         timeOf(folder / nameOf("postimage", variant))};
    }
    return std::nullopt;
}

Result<bool> GitResolutions::record(const ConflictText& text, std::string_view settled) const
{
    const auto image = m_enabled && !text.ownChange ? conflictImage(text) : std::nullopt;
    if (!image)
        return false;
    const fs::path folder = m_folder / image->name.hex();
    int free = -1;
    for (int variant = mostVariants - 1; variant >= 0; --variant) {
        const auto preimage = readFileBounded(folder / nameOf("preimage", variant), largestImage),
                   postimage = readFileBounded(folder / nameOf("postimage", variant), largestImage);
        if (preimage && postimage && resolvedBy(*preimage, *postimage, image->bytes))
            return false;
        // Git has noted the conflict and waits for its settlement, or has nothing there.
        if (!postimage && (!preimage || *preimage == image->bytes))
            free = variant;
    }
    if (free < 0)
        return false;
    // What is half written when the program ends must not stay among git's files: in our own folder it is found.
    const fs::path own = m_folder.parent_path() / "espalier";
    const auto write = [&](const char* name, std::string_view bytes) {
        return writeFileAtomically(folder / nameOf(name, free), bytes, own);
    };
    auto written = makeFolders(folder)
                       .and_then([&] { return makeFolders(own); })
                       .and_then([&] { return write("preimage", image->bytes); })
                       .and_then([&] { return write("postimage", settled); });
    return written.transform([] { return true; });
}

Result<void> recordResolutions(const Repository& repository, const DryRun& run, const Settlements& settlements,
                               const Progress& progress)
{
    const GitResolutions git(repository);
    for (std::size_t i = 0; git.enabled() && i < run.commits.size(); ++i)
        for (std::size_t k = 0; k < run.commits[i].conflicts.size(); ++k) {
            if (run.commits[i].conflicts[k].path.wholePath())
                continue;
            const auto text = conflictText(repository, run, i, k, progress);
            if (!text)
                return std::unexpected(text.error());
            const FileSettlement settled = settledOf(*text, settlements);
            if (!settled.decided())
                continue;
            if (const auto done = git.record(*text, settledText(*text, settled)); !done)
                return std::unexpected(done.error());
        }
    return {};
}

} // namespace espalier
