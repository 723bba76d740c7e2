// SPDX-License-Identifier: MIT
#include "core/conflicts/settled_remarks.h"

#include "core/conflicts/conflict_text.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostKnown = 4000; // texts

Result<std::vector<Remark>> judge(ObjectStore& store, const Conflict& conflict, const MoreRemarks& more)
{
    std::vector<Result<Object>> read;
    for (const Oid& id :
         {conflict.path.ancestor.id, conflict.path.newBase.id, conflict.path.commit.id, conflict.settled})
        read.push_back(id.isZero() ? Result<Object>() : store.read(id, ObjectType::Blob));
    for (const auto& text : read)
        if (!text)
            return std::unexpected(text.error());
    const auto side = [&](const ConflictStage& stage, std::size_t at) {
        return stage.id.isZero() ? std::nullopt : std::optional(read[at]->view());
    };
    const JudgedTexts texts{side(conflict.path.ancestor, 0), side(conflict.path.newBase, 1),
                            side(conflict.path.commit, 2), read[3]->view()};
    std::vector<Remark> remarks = remarksOn(texts, conflict.markerSize);
    if (more)
        std::ranges::move(more(texts), std::back_inserter(remarks));
    std::ranges::stable_sort(remarks, {}, &Remark::line);
    return remarks;
}

} // namespace

Result<std::vector<FileRemarks>> settledRemarks(const Repository& repository, const DryRun& run, RemarkCache& cache,
                                                const MoreRemarks& more, const Progress& progress)
{
    std::vector<FileRemarks> all;
    std::optional<ObjectStore> store; // most dry runs have nothing new to read
    if (cache.known.size() > mostKnown)
        cache.known.clear();
    for (std::size_t i = 0; i < run.commits.size(); ++i)
        for (const Conflict& conflict : run.commits[i].conflicts) {
            if (progress.stopped())
                return cancelled();
            const PathConflict& path = conflict.path;
            if (conflict.undecided > 0 || conflict.settled.isZero())
                continue;
            const RemarkCache::Texts texts{path.ancestor.id, path.newBase.id, path.commit.id, conflict.settled,
                                           conflict.markerSize};
            auto known = cache.known.find(texts);
            if (known == cache.known.end()) {
                if (!store) {
                    store.emplace(repository);
                    if (run.objects)
                        store->replaceNewObjects(*run.objects);
                }
                auto remarks = judge(*store, conflict, more);
                if (!remarks)
                    return std::unexpected(remarks.error());
                known = cache.known.emplace(texts, std::move(*remarks)).first;
            }
            if (!known->second.empty())
                all.push_back({i, conflict.key(run.commits[i].id), shownPath(path), known->second});
        }
    return all;
}

} // namespace espalier
