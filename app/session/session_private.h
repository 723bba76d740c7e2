// SPDX-License-Identifier: MIT
//
// What a session holds between its two halves, reading (session.cpp) and changing (session_operations.cpp). Private to
// app/session.
#pragma once

#include "app/session/repository_watch.h"
#include "app/session/session.h"
#include "app/support/work_queue.h"
#include "core/history/equivalence.h"

#include <map>
#include <set>

namespace espalier {

struct Session::Private {
    // The works that write to a repository, one after another. A queue goes on when another repository is opened.
    WorkQueue* writing(Session* session, const QString& path);

    Access access;
    std::map<std::string, Forecast> forecasts;
    std::set<std::string> newForecasts; // answered for the snapshot there is
    Look lastLook;
    News news;
    std::shared_ptr<EquivalenceCache> equivalence = std::make_shared<EquivalenceCache>(forForecasts);
    RepositoryWatch watch;
    QPointer<Work> loading;
    QPointer<Work> drifting;
    QPointer<Work> counting;
    bool countAgain = false;
    QHash<QString, WorkQueue*> queues;
    bool loadAgain = false;
    bool forceAgain = false;
    std::uint64_t fingerprint = 0;
    // Rises with every opened path and snapshot, so that answers about an older one are dropped.
    std::uint64_t generation = 0;
};

// `job` with a repository of its own at `path`, opened on the thread that runs it.
template <typename T, typename Job> auto withRepository(const QString& path, Job job)
{
    return [path = path.toStdString(), job = std::move(job)](const Progress& progress) -> Result<T> {
        auto repository = Repository::open(path);
        if (!repository)
            return std::unexpected(repository.error());
        return job(*repository, progress);
    };
}

} // namespace espalier
