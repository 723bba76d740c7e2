// SPDX-License-Identifier: MIT
//
// Tells when something in a repository's git folder changed underneath: another program committed, fetched, moved a ref.
#pragma once

#include "core/git/repository.h"

#include <QFileSystemWatcher>
#include <QObject>
#include <QStringList>
#include <QTimer>

namespace espalier {

class RepositoryWatch : public QObject {
    Q_OBJECT
  public:
    explicit RepositoryWatch(QObject* parent = nullptr);

    // The folders whose changes tell; to be called on a worker thread, it reads the disk.
    static QStringList foldersOf(const Repository& repository);
    // Watches these instead of what was watched before. Cheap to call again with much the same ones.
    void watch(const QStringList& folders);

  Q_SIGNALS:
    // Not more often than a few times a second. What changed may be nothing that matters; a fingerprint tells.
    void changed();

  private:
    QFileSystemWatcher m_watcher;
    QTimer m_quiet;
};

} // namespace espalier
