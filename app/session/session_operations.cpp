// SPDX-License-Identifier: MIT
//
// What a session changes: every operation that writes to the repository or to a remote, one after another.
#include "app/session/session_private.h"
#include "app/support/text.h"
#include "core/git/text.h"
#include "core/replay/rewrite.h"

namespace espalier {

namespace {

QString withNotices(QString line, const std::vector<std::string>& notices)
{
    for (const std::string& notice : notices)
        line += (line.isEmpty() ? QString() : QStringLiteral(" ")) + toText(notice) + QLatin1Char('.');
    return line;
}

} // namespace

QString doneLine(const Applied& done)
{
    QString line;
    if (!done.entry.title.empty())
        line = Session::tr("Done: %1.").arg(toText(done.entry.title));
    if (!done.entry.id.empty())
        line += QLatin1Char(' ') + Session::tr("It can be taken back from the logbook.");
    return withNotices(line, done.notices);
}

WorkQueue* Session::Private::writing(Session* session, const QString& path)
{
    WorkQueue*& queue = queues[path];
    if (!queue)
        queue = new WorkQueue(session);
    return queue;
}

bool Session::isWriting() const
{
    const WorkQueue* queue = d->queues.value(m_path);
    return queue && !queue->isIdle();
}

template <typename T, typename Job, typename Report>
void Session::operate(const QString& title, Job job, Report report, Answer<T> answer)
{
    const auto then = [this, path = m_path, report = std::move(report), answer = std::move(answer)](Result<T> result) {
        // Whoever asked shows the error; when nobody waits for an answer, or another repository is open by now, the
        // window does.
        const bool answers = answer && path == m_path;
        if (result)
            report(*result);
        else if (result.error().kind == ErrorKind::Cancelled)
            Q_EMIT said(toText(result.error().line()));
        else if (!answers)
            Q_EMIT failed(toText(result.error().line()));
        if (answers)
            answer(result);
        if (path == m_path)
            refresh(true);
    };
    d->writing(this, m_path)->add<T>(title, withRepository<T>(m_path, std::move(job)), then);
}

void Session::applied(const Applied& done) { Q_EMIT said(doneLine(done)); }

void Session::fetch(const std::string& remote)
{
    operate<FetchReport>(
        tr("Fetching from %1").arg(toText(remote)),
        [remote, access = d->access](const Repository& repository, const Progress& progress) {
            return fetchRemote(repository, remote, access, progress);
        },
        [this](const FetchReport& report) { Q_EMIT said(toText(report.line())); });
}

void Session::fetchAll()
{
    if (!m_snapshot)
        return;
    const Roles roles = m_snapshot->roles;
    if (!roles.upstream.empty())
        fetch(roles.upstream);
    if (!roles.fork.empty() && !roles.oneForBoth())
        fetch(roles.fork);
}

void Session::bringUpToDate()
{
    operate<UpdateReport>(
        tr("Bringing the main line up to date"),
        [access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::bringUpToDate(repository, access, progress);
        },
        [this](const UpdateReport& report) {
            QStringList lines;
            for (const std::string& text : report.lines)
                lines << toText(text);
            if (!lines.isEmpty())
                Q_EMIT said(lines.join(QStringLiteral(" · ")));
            if (report.ownCommits > 0)
                Q_EMIT mainLineHasOwnCommits(int(report.ownCommits));
        });
}

void Session::moveMainToTopic(const std::string& topic)
{
    const Ref* mainLine = m_snapshot ? m_snapshot->mainLineRef() : nullptr;
    if (!mainLine)
        return;
    operate<Applied>(
        tr("Moving the main line's own commits"),
        [topic, branch = mainLine->branch, to = mainLine->tip](const Repository& repository, const Progress& progress) {
            return moveToTopic(repository, branch, topic, to, progress);
        },
        [this](const Applied& done) { applied(done); });
}

void Session::apply(const DryRunPtr& run, Answer<Applied> answer)
{
    operate<Applied>(
        tr("Applying"),
        [run](const Repository& repository, const Progress& progress) -> Result<Applied> {
            const auto rewrite = makeRewrite(*run);
            if (!rewrite)
                return std::unexpected(rewrite.error());
            return espalier::apply(repository, *rewrite, progress);
        },
        [this](const Applied& done) { applied(done); }, std::move(answer));
}

void Session::checkOverwrite(const std::vector<std::string>& branches, Answer<std::vector<OverwriteCheck>> answer)
{
    const QString first = branches.empty() ? QString() : toText(branches.front());
    operate<std::vector<OverwriteCheck>>(
        branches.size() == 1 ? tr("Looking at the fork's copy of %1").arg(first)
                             : tr("Looking at the fork's copies of %1 branches").arg(branches.size()),
        [branches, access = d->access](const Repository& repository,
                                       const Progress& progress) -> Result<std::vector<OverwriteCheck>> {
            std::vector<OverwriteCheck> checks;
            for (const std::string& branch : branches) {
                auto check = overwriteCheck(repository, branch, true, access, progress);
                if (!check)
                    return std::unexpected(check.error());
                checks.push_back(std::move(*check));
            }
            return checks;
        },
        [](const std::vector<OverwriteCheck>&) {}, std::move(answer));
}

void Session::push(const std::vector<PushRequest>& requests, Answer<std::vector<Pushed>> answer)
{
    const QString names =
        requests.size() == 1 ? toText(requests.front().branch) : toText(counted(requests.size(), "branch", "branches"));
    operate<std::vector<Pushed>>(
        tr("Pushing %1").arg(names),
        [requests, access = d->access](const Repository& repository, const Progress& progress) {
            return pushAll(repository, requests, access, progress);
        },
        [this, names](const std::vector<Pushed>& all) {
            std::vector<std::string> notices;
            for (const Pushed& pushed : all)
                notices.insert(notices.end(), pushed.notices.begin(), pushed.notices.end());
            Q_EMIT said(withNotices(tr("Pushed %1.").arg(names), notices));
        },
        std::move(answer));
}

void Session::takeBack(const LogbookEntry& entry, const std::vector<MovedBranch>& agreed, Answer<std::string> answer)
{
    operate<std::string>(
        tr("Taking back: %1").arg(toText(entry.title)),
        [entry, agreed, access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::takeBack(repository, entry, agreed, access, progress);
        },
        [this](const std::string& title) { Q_EMIT said(tr("Done: %1.").arg(toText(title))); }, std::move(answer));
}

void Session::movedSince(const LogbookEntry& entry, Answer<std::vector<MovedBranch>> answer)
{
    operate<std::vector<MovedBranch>>(
        tr("Looking at what moved since"),
        [entry, access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::movedSince(repository, entry, access, progress);
        },
        [](const std::vector<MovedBranch>&) {}, std::move(answer));
}

void Session::letGo(const LogbookEntry& entry, Answer<bool> answer)
{
    operate<bool>(
        tr("Letting an entry go"),
        [id = entry.id](const Repository& repository, const Progress&) {
            return forgetEntry(repository, id).transform([] { return true; });
        },
        [](bool) {}, std::move(answer));
}

void Session::checkOut(const std::string& branch)
{
    operate<Applied>(
        tr("Checking out %1").arg(toText(branch)),
        [branch](const Repository& repository, const Progress& progress) {
            return espalier::checkOut(repository, branch, progress);
        },
        [this, branch](const Applied& done) {
            Q_EMIT said(tr("%1 is checked out.").arg(toText(branch)));
            for (const std::string& notice : done.notices)
                Q_EMIT said(toText(notice));
        });
}

void Session::createBranch(const std::string& branch, const Oid& at, bool checkItOut)
{
    operate<Applied>(
        tr("Creating %1").arg(toText(branch)),
        [branch, at, checkItOut](const Repository& repository, const Progress&) {
            return espalier::createBranch(repository, branch, at, checkItOut);
        },
        [this](const Applied& done) { applied(done); });
}

void Session::renameBranch(const std::string& from, const std::string& to)
{
    operate<Applied>(
        tr("Renaming %1").arg(toText(from)),
        [from, to](const Repository& repository, const Progress&) {
            return espalier::renameBranch(repository, from, to);
        },
        [this](const Applied& done) { applied(done); });
}

void Session::deleteBranch(const std::string& branch)
{
    operate<Applied>(
        tr("Deleting %1").arg(toText(branch)),
        [branch](const Repository& repository, const Progress&) { return espalier::deleteBranch(repository, branch); },
        [this](const Applied& done) { applied(done); });
}

void Session::cleanUp(const CleanUpCandidate& candidate, bool alsoFork, Answer<std::vector<LogbookEntry>> answer)
{
    operate<std::vector<LogbookEntry>>(
        tr("Cleaning up %1").arg(toText(candidate.branch)),
        [candidate, alsoFork, access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::cleanUp(repository, candidate, alsoFork, access, progress);
        },
        [this, branch = candidate.branch](const std::vector<LogbookEntry>&) {
            Q_EMIT said(tr("%1 is cleaned up. It can be taken back from the logbook.").arg(toText(branch)));
        },
        std::move(answer));
}

void Session::setRoles(const std::string& upstream, const std::string& fork)
{
    operate<bool>(
        tr("Keeping the roles"),
        [upstream, fork](const Repository& repository, const Progress&) -> Result<bool> {
            return espalier::setRoles(repository, upstream, fork).transform([] { return true; });
        },
        [this](bool) { Q_EMIT said(tr("The roles of the remotes are kept in this repository's config.")); });
}

void Session::addRemote(const std::string& name, const std::string& url, bool asUpstream)
{
    const Roles roles = m_snapshot ? m_snapshot->roles : Roles{};
    operate<FetchReport>(
        tr("Adding %1").arg(toText(name)),
        [=, access = d->access](const Repository& repository, const Progress& progress) -> Result<FetchReport> {
            if (auto added = espalier::addRemote(repository, name, url); !added)
                return std::unexpected(added.error());
            if (asUpstream)
                if (auto set = espalier::setRoles(repository, name, roles.fork.empty() ? name : roles.fork); !set)
                    return std::unexpected(set.error());
            return fetchRemote(repository, name, access, progress);
        },
        [this](const FetchReport& report) { Q_EMIT said(toText(report.line())); });
}

} // namespace espalier
