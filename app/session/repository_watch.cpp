// SPDX-License-Identifier: MIT
#include "app/session/repository_watch.h"

#include "core/history/local_changes.h"

#include <QSocketNotifier>

#include <sys/inotify.h>
#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

// Watches cost the system memory, and a user has some ten thousand for all programs; a repository with more folders is looked
// at when the window is activated.
constexpr std::size_t mostRefFolders = 400, mostWorktreeFolders = 2000;

constexpr std::uint32_t eventsOfInterest = IN_CREATE | IN_DELETE | IN_MOVED_FROM | IN_MOVED_TO | IN_CLOSE_WRITE |
                                           IN_ATTRIB | IN_DELETE_SELF | IN_ONLYDIR | IN_EXCL_UNLINK;

void addFoldersBelow(const fs::path& folder, std::vector<fs::path>& folders)
{
    std::error_code error;
    for (fs::recursive_directory_iterator at(folder, fs::directory_options::skip_permission_denied, error), end;
         !error && at != end && folders.size() < mostRefFolders; at.increment(error)) {
        std::error_code gone;
        if (!at->is_directory(gone) || at->is_symlink(gone))
            continue;
        // Kept tips are our own writing.
        if (at.depth() == 0 && at->path().filename() == "espalier")
            at.disable_recursion_pending();
        else
            folders.push_back(at->path());
    }
}

} // namespace

WatchedFolders::WatchedFolders() : m_file(::inotify_init1(IN_NONBLOCK | IN_CLOEXEC)) {}

WatchedFolders::~WatchedFolders()
{
    if (m_file >= 0)
        ::close(m_file);
}

void WatchedFolders::set(const Repository& repository, const std::stop_token& stop)
{
    if (m_file < 0)
        return;
    const fs::path common = repository.commonDir();
    std::vector<fs::path> ofGit{repository.gitDir(), common, common / "refs"};
    addFoldersBelow(common / "refs", ofGit);
    std::map<fs::path, Kind> wanted;
    for (const fs::path& folder : trackedFolders(repository, mostWorktreeFolders))
        wanted.emplace(folder.lexically_normal(), Kind::Worktree);
    for (const fs::path& folder : ofGit)
        wanted.insert_or_assign(folder.lexically_normal(), Kind::Git);
    std::map<fs::path, int> before;
    {
        const std::lock_guard lock(m_mutex);
        before = m_watches;
    }
    for (const auto& [folder, kind] : wanted) {
        if (stop.stop_requested())
            return;
        // Not under the lock, for which the window's own thread may wait: this looks the folder up on the disk. A folder that
        // was made anew since gets a watch of its own; one that is watched already is the same watch.
        const int watch = ::inotify_add_watch(m_file, folder.c_str(), eventsOfInterest);
        const std::lock_guard lock(m_mutex);
        if (watch < 0)
            continue;
        m_watches[folder] = watch;
        m_kinds[watch] = kind;
        before.erase(folder);
    }
    const std::lock_guard lock(m_mutex);
    for (const auto& [folder, watch] : before) {
        m_watches.erase(folder);
        if (m_kinds.erase(watch) > 0)
            ::inotify_rm_watch(m_file, watch);
    }
}

WatchedFolders::News WatchedFolders::take()
{
    News news;
    alignas(inotify_event) char buffer[16384];
    const std::lock_guard lock(m_mutex);
    for (ssize_t got; (got = ::read(m_file, buffer, sizeof buffer)) > 0;)
        for (const char* at = buffer; at < buffer + got;) {
            const auto* event = reinterpret_cast<const inotify_event*>(at);
            at += sizeof(inotify_event) + event->len;
            const auto kind = m_kinds.find(event->wd);
            if (event->mask & IN_IGNORED) {
                // Its folder is gone, or nobody wants to hear of it any more.
                if (kind != m_kinds.end())
                    std::erase_if(m_watches, [&](const auto& watch) { return watch.second == event->wd; });
                m_kinds.erase(event->wd);
                continue;
            }
            // Of what is not known, because events were lost or it is being set up, anything may be true.
            news.ofGit |= kind == m_kinds.end() || kind->second == Kind::Git;
            news.ofWorktree |= kind == m_kinds.end() || kind->second == Kind::Worktree;
        }
    return news;
}

std::size_t WatchedFolders::count() const
{
    const std::lock_guard lock(m_mutex);
    return m_watches.size();
}

RepositoryWatch::RepositoryWatch(QObject* parent) : QObject(parent)
{
    for (QTimer* quiet : {&m_quiet, &m_quietWorktree}) {
        quiet->setSingleShot(true);
        quiet->setInterval(300);
    }
    connect(&m_quiet, &QTimer::timeout, this, &RepositoryWatch::changed);
    connect(&m_quietWorktree, &QTimer::timeout, this, &RepositoryWatch::worktreeChanged);
    if (m_folders->file() < 0)
        return;
    m_notifier = new QSocketNotifier(m_folders->file(), QSocketNotifier::Read, this);
    connect(m_notifier, &QSocketNotifier::activated, this, &RepositoryWatch::take);
}

void RepositoryWatch::take()
{
    const WatchedFolders::News news = m_folders->take();
    // A started timer is left running, so that a stream of changes cannot put the answer off for ever.
    if (news.ofGit && !m_quiet.isActive())
        m_quiet.start();
    if (news.ofWorktree && !m_quietWorktree.isActive())
        m_quietWorktree.start();
}

} // namespace espalier
