// SPDX-License-Identifier: MIT
#include "app/session/repository_watch.h"

#include <QDirIterator>

namespace espalier {

namespace {

// Watches cost the system memory; a repository with more folders of refs is looked at when the window is activated.
constexpr int watchedFolders = 400;

} // namespace

RepositoryWatch::RepositoryWatch(QObject* parent) : QObject(parent)
{
    m_quiet.setSingleShot(true);
    m_quiet.setInterval(300);
    connect(&m_quiet, &QTimer::timeout, this, &RepositoryWatch::changed);
    // A started timer is left running, so that a stream of changes cannot put the answer off for ever.
    connect(&m_watcher, &QFileSystemWatcher::directoryChanged, this, [this] {
        if (!m_quiet.isActive())
            m_quiet.start();
    });
}

QStringList RepositoryWatch::foldersOf(const Repository& repository)
{
    const QString commonDir = QDir::cleanPath(QString::fromStdString(repository.commonDir().string()));
    QStringList folders{QDir::cleanPath(QString::fromStdString(repository.gitDir().string())), commonDir,
                        commonDir + QStringLiteral("/refs")};
    QDirIterator below(commonDir + QStringLiteral("/refs"), QDir::Dirs | QDir::NoDotAndDotDot | QDir::NoSymLinks,
                       QDirIterator::Subdirectories);
    while (below.hasNext() && folders.size() < watchedFolders) {
        const QString folder = below.next();
        // Kept tips are our own writing.
        if (!folder.contains(QStringLiteral("/refs/espalier")))
            folders << folder;
    }
    folders.removeDuplicates();
    return folders;
}

void RepositoryWatch::watch(const QStringList& folders)
{
    const QStringList known = m_watcher.directories();
    QStringList gone, fresh;
    for (const QString& folder : known)
        if (!folders.contains(folder))
            gone << folder;
    for (const QString& folder : folders)
        if (!known.contains(folder))
            fresh << folder;
    if (!gone.isEmpty())
        m_watcher.removePaths(gone);
    if (!fresh.isEmpty())
        m_watcher.addPaths(fresh);
}

} // namespace espalier
