// SPDX-License-Identifier: MIT
#include "tests/support/reference_merge.h"

#include "core/git/commit.h"
#include "core/merge/tree_merge.h"

namespace espalier::test {

std::vector<ReferenceMerge> referenceMerges(const TempRepository& repository, const std::vector<MergeCase>& cases,
                                            ReadAttributes attributes)
{
    QByteArray input, out;
    for (const MergeCase& merge : cases) {
        input += QByteArray::fromStdString(merge.base + " -- " + merge.newBase + " " + merge.commit + "\n");
        if (attributes == ReadAttributes::Nowhere && &merge != &cases.back())
            continue;
        QStringList arguments{"merge-tree", "--write-tree", "--stdin", "--no-messages"};
        if (attributes == ReadAttributes::OfNewBase)
            arguments.prepend("--attr-source=" + QString::fromStdString(merge.newBase));
        out += repository.tryGit(arguments, input).out;
        input.clear();
    }
    std::vector<ReferenceMerge> results;
    const QList<QByteArray> fields = out.split('\0');
    for (qsizetype at = 0; at + 2 < fields.size();) {
        ReferenceMerge merge;
        merge.clean = fields[at] == "1";
        merge.tree = fields[at + 1].toStdString();
        for (at += 2; at < fields.size() && !fields[at].isEmpty(); ++at)
            merge.stages.push_back(fields[at].toStdString());
        ++at;
        results.push_back(std::move(merge));
    }
    return results;
}

namespace {

std::string told(const StagedPath& stage)
{
    char mode[16];
    std::snprintf(mode, sizeof mode, "%06o", unsigned(stage.mode));
    return std::string(mode) + " " + stage.id.hex() + " " + std::to_string(stage.stage) + "\t" + stage.path;
}

std::string difference(const TreeMerge& merge, const ReferenceMerge& reference)
{
    std::string told;
    for (const PathConflict& conflict : merge.conflicts)
        told += "\n    " + conflict.path + ": " + std::string(conflictKindName(conflict.kind)) + " holds " +
                conflict.held.hex();
    for (const std::string& stage : reference.stages)
        told += "\n    git: " + stage;
    return told;
}

} // namespace

Comparison compareMerges(const TempRepository& repository, const std::vector<MergeCase>& cases, bool cleanTreesOnly,
                         ReadAttributes attributes)
{
    Comparison result;
    const auto reference = referenceMerges(repository, cases, attributes);
    if (reference.size() != cases.size()) {
        result.differences.push_back("git answered " + std::to_string(reference.size()) + " merges of " +
                                     std::to_string(cases.size()));
        return result;
    }
    const Repository opened = repository.open();
    ObjectStore store(opened);
    MergeCaches caches;
    const auto treeOf = [&](const std::string& commit) { return readCommit(store, *Oid::parse(commit)).value().tree; };
    for (std::size_t i = 0; i < cases.size(); ++i) {
        MergeOptions options = MergeOptions::of(opened);
        options.newBaseLabel = cases[i].newBase;
        options.commitLabel = cases[i].commit;
        const std::string name = cases[i].base + " -- " + cases[i].newBase + " " + cases[i].commit;
        const auto merge = mergeTrees(store, treeOf(cases[i].base), treeOf(cases[i].newBase), treeOf(cases[i].commit),
                                      options, caches);
        if (!merge) {
            result.differences.push_back(name + ": " + merge.error().line());
            continue;
        }
        (reference[i].clean ? result.clean : result.conflicts)++;
        std::vector<std::string> stages;
        for (const StagedPath& stage : merge->stages)
            stages.push_back(told(stage));
        if (merge->clean() != reference[i].clean || stages != reference[i].stages) {
            std::string difference = name + ": stages";
            for (const std::string& stage : reference[i].stages)
                if (std::ranges::find(stages, stage) == stages.end())
                    difference += "\n    only git:  " + stage;
            for (const std::string& stage : stages)
                if (std::ranges::find(reference[i].stages, stage) == reference[i].stages.end())
                    difference += "\n    only here: " + stage;
            difference += "\n  git says: " +
                          repository
                              .tryGit({"merge-tree", "--write-tree", "--name-only",
                                       "--merge-base=" + QString::fromStdString(cases[i].base),
                                       QString::fromStdString(cases[i].newBase), QString::fromStdString(cases[i].commit)})
                              .out.toStdString();
            for (const std::string& side : {cases[i].newBase, cases[i].commit})
                difference += "\n  " + repository.git({"diff", "--raw", "--abbrev=6", "-M", QString::fromStdString(cases[i].base),
                                                      QString::fromStdString(side)});
            result.differences.push_back(std::move(difference));
        } else if (merge->tree.hex() != reference[i].tree && (merge->clean() || !cleanTreesOnly)) {
            result.differences.push_back(name + (merge->clean() ? ": tree of a clean merge " : ": tree in marker form ") +
                                         merge->tree.hex() + ", git has " + reference[i].tree + difference(merge.value(), reference[i]));
        }
    }
    return result;
}

} // namespace espalier::test
