// SPDX-License-Identifier: MIT
//
// Tells when something in a repository changed underneath: another program committed, fetched, moved a ref, or a file of the
// worktree was written. QFileSystemWatcher would not do: it says nothing of a file that is written in place, unless each file
// is watched by itself, and it looks up what it is given on the thread it lives on. So this is inotify(7) itself.
//
//     connect(&watch, &RepositoryWatch::changed, this, [this] { refresh(); });
//     watch.folders()->set(repository, …);        // on a worker thread
#pragma once

#include "core/git/repository.h"

#include <QObject>
#include <QTimer>

#include <filesystem>
#include <map>
#include <memory>
#include <mutex>
#include <stop_token>
#include <vector>

class QSocketNotifier;

namespace espalier {

// The folders that are watched. May be used by any thread.
class WatchedFolders {
  public:
    WatchedFolders();
    ~WatchedFolders();
    WatchedFolders(const WatchedFolders&) = delete;
    WatchedFolders& operator=(const WatchedFolders&) = delete;

    // Watches the repository's refs and its worktree instead of what was watched before. Reads the disk. Cheap to call again
    // with much the same folders.
    void set(const Repository& repository, const std::stop_token& stop);

    struct News {
        bool ofGit = false, ofWorktree = false;
    };
    // What has changed since the last call; never waits, and reads no disk.
    News take();
    // Readable when there is news; -1 where the system gives none.
    int file() const { return m_file; }
    std::size_t count() const;

  private:
    enum class Kind { Git, Worktree };

    mutable std::mutex m_mutex;
    int m_file;
    std::map<std::filesystem::path, int> m_watches;
    std::map<int, Kind> m_kinds;
};

class RepositoryWatch : public QObject {
    Q_OBJECT
  public:
    explicit RepositoryWatch(QObject* parent = nullptr);

    const std::shared_ptr<WatchedFolders>& folders() const { return m_folders; }

  Q_SIGNALS:
    // Not more often than a few times a second. What changed may be nothing that matters; a fingerprint tells.
    void changed();
    // A file of the worktree; as often.
    void worktreeChanged();

  private:
    void take();

    std::shared_ptr<WatchedFolders> m_folders = std::make_shared<WatchedFolders>();
    QSocketNotifier* m_notifier = nullptr;
    QTimer m_quiet, m_quietWorktree;
};

} // namespace espalier
