// SPDX-License-Identifier: MIT
#include "tests/support/reference_merge.h"

#include "core/git/commit.h"
#include "core/merge/tree_merge.h"

#include <QSet>

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
    if (results.size() == cases.size())
        return results;
    // It stops at one of its own assertions now and then: ask for each by itself then.
    if (cases.size() == 1)
        return {ReferenceMerge()};
    results.clear();
    for (const MergeCase& merge : cases)
        results.push_back(referenceMerges(repository, {merge}, attributes).front());
    return results;
}

bool listsFileAndFolder(const ReferenceMerge& merge)
{
    std::set<std::string> listed; // of stages 2 and 3
    for (const std::string& stage : merge.stages)
        if (const std::size_t tab = stage.find('\t'); tab != std::string::npos && stage[tab - 1] != '1')
            listed.insert(stage.substr(tab + 1));
    for (const std::string& path : listed)
        for (std::size_t slash = path.find('/'); slash != std::string::npos; slash = path.find('/', slash + 1))
            if (listed.contains(path.substr(0, slash)))
                return true;
    return false;
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
                conflict.held.id.hex();
    for (const std::string& stage : reference.stages)
        told += "\n    git: " + stage;
    return told;
}

// git forgets an unchanged file's rename when it starts over with what it has learnt (it does so when it has seen three times as
// many paths as at first); what a renamed directory took along is then listed as added, without its old stages.
bool onlyMovedStages(const TreeMerge& merge, std::vector<std::string> ours, const std::vector<std::string>& gits)
{
    std::erase_if(ours, [&](const std::string& stage) {
        const auto at = std::ranges::find(merge.conflicts, stage.substr(stage.find('\t') + 1), &PathConflict::path);
        return !std::ranges::contains(gits, stage) && at != merge.conflicts.end() &&
               at->kind == ConflictKind::DirectoryRenamed;
    });
    const auto pathsOf = [](const std::vector<std::string>& stages) {
        std::set<std::string> paths;
        for (const std::string& stage : stages)
            paths.insert(stage.substr(stage.find('\t')));
        return paths;
    };
    return ours == gits && ours.size() < merge.stages.size() && pathsOf(ours).size() == merge.conflicts.size();
}

std::string rawChanges(const TempRepository& repository, const MergeCase& merge)
{
    std::string told;
    for (const std::string& side : {merge.newBase, merge.commit})
        told += "\n  " + repository.git({"diff", "--raw", "--abbrev=6", "-M", QString::fromStdString(merge.base),
                                         QString::fromStdString(side)});
    return told;
}

// What git itself gets wrong, so that there is nothing to follow: with a renamed directory it may write or list a folder and a
// file of one name, or lose files that need no decision from a folder into which it brings something, or write what it brings
// over a file that all three have alike.
bool gitIsWrong(const TempRepository& repository, const MergeCase& merge, const ReferenceMerge& reference,
                const std::string& ourTree)
{
    const std::string& gitTree = reference.tree;
    if (listsFileAndFolder(reference))
        return true;
    const auto lines = [&](const QStringList& arguments) {
        return QString::fromLatin1(repository.tryGit(arguments).out).split('\n', Qt::SkipEmptyParts);
    };
    const auto pathsOf = [&](const std::string& tree) {
        const QStringList paths = lines({"ls-tree", "-r", "--name-only", QString::fromStdString(tree)});
        return QSet<QString>(paths.begin(), paths.end());
    };
    for (const QSet<QString> paths = pathsOf(gitTree); const QString& path : paths)
        for (qsizetype slash = path.indexOf('/'); slash >= 0; slash = path.indexOf('/', slash + 1))
            if (paths.contains(path.left(slash)))
                return true;
    const QStringList differ = lines({"diff", "--raw", "--no-renames", "--no-abbrev", QString::fromStdString(gitTree),
                                      QString::fromStdString(ourTree)});
    return !differ.empty() && std::ranges::all_of(differ, [&](const QString& line) {
        // ":000000 mode 0… id A\tpath": only here. All three have it so, or one side added it and nothing else is there. Where git
        // has something else (M), it has put a file there that it lists.
        const QString path = line.section('\t', 1),
                      entry = line.section(' ', 1, 1) + " blob " + line.section(' ', 3, 3);
        QStringList has;
        for (const std::string& tree : {merge.base, merge.newBase, merge.commit})
            has += lines({"ls-tree", QString::fromStdString(tree), path}).value(0).section('\t', 0, 0);
        const bool onlyHere = line.startsWith(":000000 ");
        const bool listed = std::ranges::any_of(reference.stages, [&](const std::string& stage) {
            return QString::fromStdString(stage).section('\t', 1) == path;
        });
        return ((onlyHere || listed) && has == QStringList{entry, entry, entry}) ||
               (onlyHere && (has == QStringList{"", entry, ""} || has == QStringList{"", "", entry}));
    });
}

} // namespace

Comparison compareMerges(const TempRepository& repository, const std::vector<MergeCase>& cases, bool cleanTreesOnly,
                         ReadAttributes attributes)
{
    Comparison result;
    const auto reference = referenceMerges(repository, cases, attributes);
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
        if (!reference[i].answered()) {
            ++result.gitIsWrong;
            continue;
        }
        (reference[i].clean ? result.clean : result.conflicts)++;
        if (merge->tree.hex() != reference[i].tree && !reference[i].clean && writeObjects(opened, store.newObjects()) &&
            gitIsWrong(repository, cases[i], reference[i], merge->tree.hex())) {
            ++result.gitIsWrong;
            result.whereGitIsWrong.push_back(name);
            continue;
        }
        std::vector<std::string> stages;
        for (const StagedPath& stage : merge->stages)
            stages.push_back(told(stage));
        if (merge->tree.hex() == reference[i].tree && onlyMovedStages(merge.value(), stages, reference[i].stages)) {
            ++result.fewerStages;
            continue;
        }
        if (merge->clean() != reference[i].clean || stages != reference[i].stages) {
            std::string difference = name + ": stages";
            for (const std::string& stage : reference[i].stages)
                if (std::ranges::find(stages, stage) == stages.end())
                    difference += "\n    only git:  " + stage;
            for (const std::string& stage : stages)
                if (std::ranges::find(reference[i].stages, stage) == reference[i].stages.end())
                    difference += "\n    only here: " + stage;
            difference += "\n  git says: " + repository
                                                 .tryGit({"merge-tree", "--write-tree", "--name-only",
                                                          "--merge-base=" + QString::fromStdString(cases[i].base),
                                                          QString::fromStdString(cases[i].newBase),
                                                          QString::fromStdString(cases[i].commit)})
                                                 .out.toStdString();
            result.differences.push_back(difference + rawChanges(repository, cases[i]));
        } else if (merge->tree.hex() != reference[i].tree && (merge->clean() || !cleanTreesOnly)) {
            result.differences.push_back(
                name + (merge->clean() ? ": tree of a clean merge " : ": tree in marker form ") + merge->tree.hex() +
                ", git has " + reference[i].tree + difference(merge.value(), reference[i]));
            if (merge->clean() ? bool(writeObjects(opened, store.newObjects())) : true)
                result.differences.back() += "\n" +
                                             repository
                                                 .tryGit({"diff", QString::fromStdString(reference[i].tree),
                                                          QString::fromStdString(merge->tree.hex())})
                                                 .out.left(3000)
                                                 .toStdString() +
                                             rawChanges(repository, cases[i]);
        }
    }
    return result;
}

} // namespace espalier::test
