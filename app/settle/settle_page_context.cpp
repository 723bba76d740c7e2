// SPDX-License-Identifier: MIT
//
// What the settle page tells about a hunk beside its texts: who changed these lines on either side, what each of those commits
// changed, what else explains the clash. All of it is a help that comes later; the lines themselves are there at once.
#include "app/settle/settle_page_private.h"

#include "app/settle/commit_drawer.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_words.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "core/conflicts/commit_change.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/conflicts/elsewhere.h"

namespace espalier {

// Thousands of commits may have to be looked through; the lines themselves are there at once.
void SettlePage::Private::askWho()
{
    const DryRunPtr run = flow->run();
    const ConflictText& text = shown->files[std::size_t(file)].text;
    if (!run || text.wholePath || shown->commit >= run->commits.size() || !asked.insert(file).second)
        return;
    startWork<std::vector<HunkCommits>>(
        page, tr("Looking for who changed these lines"),
        [path = session->path().toStdString(), run, of = shown,
         index = std::size_t(file)](const Progress& progress) -> Result<std::vector<HunkCommits>> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            return hunkCommits(*repository, *run, of->commit, of->files[index].text, progress);
        },
        [this, of = file, mine = reading](Result<std::vector<HunkCommits>> found) {
            // What cannot be found out is no trouble for the settlement: the line goes without it.
            if (!found || mine != reading)
                return;
            who[of] = std::move(*found);
            if (of == file)
                showWho();
        },
        WorkPriority::Background);
    askElsewhere();
}

// A help, as above.
void SettlePage::Private::askElsewhere()
{
    startWork<std::vector<std::vector<std::string>>>(
        page, tr("Looking for what else explains this"),
        [path = session->path().toStdString(), run = flow->run(), of = shown,
         index = std::size_t(file)](const Progress& progress) -> Result<std::vector<std::vector<std::string>>> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            return elsewhere(*repository, *run, of->commit, of->files[index].text, progress);
        },
        [this, of = file, mine = reading](Result<std::vector<std::vector<std::string>>> found) {
            if (!found || mine != reading)
                return;
            notes[of] = std::move(*found);
            if (of == file)
                showWho();
        },
        WorkPriority::Background);
}

// What a commit behind the hunk changed in this file.
void SettlePage::Private::askChange(const Oid& id)
{
    const DryRunPtr run = flow->run();
    if (!run || file < 0)
        return;
    std::vector<std::string> paths{shown->files[std::size_t(file)].text.path};
    if (shown->commit < run->commits.size())
        for (const Conflict& conflict : run->commits[shown->commit].conflicts)
            if (conflict.key(run->commits[shown->commit].id) == shown->files[std::size_t(file)].text.key)
                for (const ConflictStage* side :
                     {&conflict.path.newBase, &conflict.path.commit, &conflict.path.ancestor})
                    if (!side->path.empty())
                        paths.push_back(side->path);
    startWork<CommitChange>(
        page, tr("Reading the commit"),
        [path = session->path().toStdString(), id, paths](const Progress& progress) -> Result<CommitChange> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            ObjectStore store(*repository);
            return commitChange(store, id, paths, progress);
        },
        [this, id](Result<CommitChange> change) {
            if (change)
                commits->showChange(id, *change);
            else
                commits->showTrouble(id, toText(change.error().line()));
        });
}

void SettlePage::Private::showWho()
{
    const ConflictText& text = shown->files[std::size_t(file)].text;
    besides->hide();
    if (text.wholePath)
        return;
    const auto known = who.find(file);
    const bool named = known != who.end() && hunk() >= 0 && std::size_t(hunk()) < known->second.size();
    const HunkCommits* of = named ? &known->second[std::size_t(hunk())] : nullptr;
    explanation->setText(
        (of ? whoChanged(*of, text.yourCommit)
            : tr("The new base and your commit %1 change these lines.").arg(toText(text.yourCommit.brief()))) +
        tr(" Choose, click line numbers, or type in the middle pane."));
    explanation->setToolTip(of ? toToolTip(whoChangedAtLength(*of)) : QString());
    editor->setNewBaseWords(of ? newBaseWords(*of) : QString());
    commits->showCommits(of, QString::fromUtf8(text.path));
    const auto noted = notes.find(file);
    QStringList lines;
    if (noted != notes.end() && hunk() >= 0 && std::size_t(hunk()) < noted->second.size())
        for (const std::string& note : noted->second[std::size_t(hunk())])
            lines << toText(note) + QLatin1Char('.');
    besides->setText(lines.join(QLatin1Char(' ')));
    besides->setVisible(!lines.isEmpty());
}

} // namespace espalier
