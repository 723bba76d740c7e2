// SPDX-License-Identifier: MIT
#include "tests/support/job_outcome.h"

#include "tests/support/temp_repository.h"

namespace espalier::test {

using namespace Qt::StringLiterals;

namespace {

// The output without the last line end; what went wrong begins with "failed".
QByteArray gitAt(const std::filesystem::path& at, const QStringList& arguments)
{
    const GitRun run = runProgram("git", arguments, QString::fromStdString(at.string()));
    return run.exitCode == 0 ? run.out.trimmed() : "failed: " + run.err;
}

// Commits from the oldest, and the files of the newest, as dulwich reads them; the same lines as gitReads().
constexpr const char* dulwichReads = R"(
import sys
from dulwich.objects import format_timezone
from dulwich.object_store import iter_tree_contents
from dulwich.repo import Repo
repo = Repo(sys.argv[1])
out = sys.stdout.buffer
for name in sys.argv[2:]:
    commit = repo[name.encode()]
    out.write(b'\n'.join([
        commit.id, commit.tree, b' '.join(commit.parents),
        commit.author + b' %d ' % commit.author_time + format_timezone(commit.author_timezone),
        commit.committer + b' %d ' % commit.commit_time + format_timezone(commit.commit_timezone),
        commit.message]) + b'\0')
for entry in iter_tree_contents(repo.object_store, repo[sys.argv[-1].encode()].tree):
    out.write(b'%06o %s %d\t%s\n' % (entry.mode, entry.sha, len(repo[entry.sha].data), entry.path))
)";

QByteArray gitReads(const std::filesystem::path& fork, const QStringList& ids)
{
    QByteArray text;
    for (const QString& id : ids)
        text += gitAt(fork, {"log", "-1", "--date=raw", "--format=%H%n%T%n%P%n%an <%ae> %ad%n%cn <%ce> %cd%n%B", id}) +
                '\0';
    for (const QByteArray& line : gitAt(fork, {"ls-tree", "-r", "-l", ids.last()}).split('\n')) {
        // "mode blob id   size<tab>path"
        const QList<QByteArray> words = line.left(line.indexOf('\t')).simplified().split(' ');
        text += words[0] + ' ' + words[2] + ' ' + words[3] + line.mid(line.indexOf('\t')) + '\n';
    }
    return text;
}

} // namespace

QString fsckProblem(const Sample& sample)
{
    // Source: git fsck, the reference implementation's own check. The old commits are dangling on purpose in the fork.
    for (const std::filesystem::path& place : {sample.upstream, sample.fork, sample.clone})
        if (const QByteArray said = gitAt(place, {"fsck", "--strict", "--no-dangling", "--no-progress"});
            !said.isEmpty())
            return QStringLiteral("git fsck in %1: %2")
                .arg(QString::fromStdString(place.filename().string()), QString::fromUtf8(said));
    return {};
}

QString rewriteProblem(const Sample& sample, const QString& branch, const Oid& oldTip, const QString& newBase)
{
    if (const QString problem = fsckProblem(sample); !problem.isEmpty())
        return problem;
    const QByteArray tip = gitAt(sample.clone, {"rev-parse", "refs/heads/" + branch});
    const QByteArray old = QByteArray::fromStdString(oldTip.hex());
    if (tip == old || tip.size() != old.size())
        return QStringLiteral("the clone's tip is %1").arg(QString::fromUtf8(tip));
    if (gitAt(sample.fork, {"rev-parse", "refs/heads/" + branch}) != tip)
        return QStringLiteral("the fork's tip is not the clone's");
    const QString range = newBase + QStringLiteral("..");
    // Source: git log.
    const auto told = [&](const QByteArray& of) {
        return gitAt(sample.clone,
                     {"log", "--date=raw", "--format=%an <%ae> %ad %e%n%B", range + QString::fromLatin1(of)});
    };
    if (told(tip) != told(old) || told(tip).isEmpty())
        return QStringLiteral("author, date or message changed: %1\nbut they were: %2")
            .arg(QString::fromUtf8(told(tip)), QString::fromUtf8(told(old)));
    const QString ids =
        QString::fromLatin1(gitAt(sample.clone, {"rev-list", "--reverse", range + QString::fromLatin1(tip)}));
    const QStringList commits = ids.split(QLatin1Char('\n'));
    const QString fork = QString::fromStdString(sample.fork.string());
    const GitRun dulwich =
        runProgram("/usr/bin/python3", QStringList{"-c", QString::fromLatin1(dulwichReads), fork} + commits, fork);
    if (dulwich.exitCode != 0)
        return QStringLiteral("dulwich: %1").arg(QString::fromUtf8(dulwich.err));
    // git's %B ends with the message's own line end, which gitAt() takes off.
    const QByteArray read = QByteArray(dulwich.out).replace("\n\0"_ba, "\0"_ba);
    if (read != gitReads(sample.fork, commits))
        return QStringLiteral("dulwich reads %1\nand git %2")
            .arg(QString::fromUtf8(read), QString::fromUtf8(gitReads(sample.fork, commits)));
    return {};
}

} // namespace espalier::test
