// SPDX-License-Identifier: MIT
//
// What the page shows of a dry run, and how it edits the plan. How it looks is in dry_run_page_layout.cpp.
#include "app/dryrun/dry_run_page_private.h"

#include "app/dryrun/commit_list.h"
#include "app/dryrun/meaning.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <QAction>
#include <QBoxLayout>
#include <QCheckBox>
#include <QClipboard>
#include <QComboBox>
#include <QGuiApplication>
#include <QHeaderView>
#include <QLineEdit>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QShortcut>
#include <QToolButton>
#include <QTreeView>

#include <algorithm>

namespace espalier {

namespace {

QString counted_(std::size_t number, const char* one, const char* many)
{
    return QString::fromStdString(counted(number, one, many));
}

} // namespace

DryRunPage::DryRunPage(Session* session, ReplayFlow* flow, QWidget* parent)
    : QWidget(parent), d(std::make_unique<Private>(this, session, flow))
{
    d->build();
    d->connectAll();
    d->dress();
    d->update();
}

DryRunPage::~DryRunPage() = default;

void DryRunPage::showRun(const DryRunPtr& run)
{
    const int before = d->current();
    d->selectAfter = -1;
    if (!d->flow && run && d->stacked.empty())
        d->stacked = run->plan.stacked;
    d->run = run;
    d->notice->clear();
    d->model->setRun(run);
    if (run && !run->commits.empty()) {
        int row = before;
        if (row < 0 || row >= d->model->rowCount())
            row = run->clean ? 0 : int(std::min(run->firstConflict(), run->commits.size() - 1));
        const QSignalBlocker quiet(d->list->selectionModel());
        d->list->setCurrentIndex(d->model->index(row, CommitListModel::Subject));
        d->list->viewport()->update();
    }
    d->update();
    Q_EMIT ghostChanged(run ? ghostOf(*run) : ReplayGhost{});
}

void DryRunPage::focusApply()
{
    if (d->apply->isEnabled())
        d->apply->setFocus(Qt::OtherFocusReason);
    else
        d->list->setFocus(Qt::OtherFocusReason);
}

bool DryRunPage::Private::isEdited() const
{
    return flow && flow->isActive() &&
           !std::ranges::equal(flow->plan().commits, asBegun, [](const PlannedCommit& now, const PlannedCommit& then) {
               return now.id == then.id && now.treatment == then.treatment && now.newMessage == then.newMessage;
           });
}

void DryRunPage::Private::update()
{
    updateTools();
    updateTexts();
}

void DryRunPage::Private::updateTools()
{
    const int row = current();
    const bool any = run && row >= 0 && row < int(run->commits.size()) && (!flow || flow->isActive());
    const Treatment now = any ? run->plan.commits[std::size_t(row)].treatment : Treatment::Carry;
    up->setEnabled(any && row > 0);
    down->setEnabled(any && row + 1 < model->rowCount());
    leaveOut->setEnabled(any);
    leaveOut->setText(now == Treatment::LeaveOut ? tr("&Take in again") : tr("&Leave out"));
    fold->setEnabled(any && row > 0);
    fold->setText(now == Treatment::Fold ? tr("Un&fold") : tr("&Fold"));
    foldQuietly->setEnabled(any && row > 0);
    foldQuietly->setText(now == Treatment::FoldQuietly ? tr("Unf&old") : tr("F&old, drop message"));
    reword->setEnabled(any && now == Treatment::Carry);
    gather->setEnabled(run && run->commits.size() > 1);
    walk->setEnabled(run != nullptr);
    for (QAction* action : list->actions())
        action->setEnabled(any);
}

void DryRunPage::Private::updateTexts()
{
    const Plan* plan = run ? &run->plan : flow && flow->isActive() ? &flow->plan() : nullptr;
    title->setText(plan ? tr("Dry run: %1 onto %2").arg(toText(plan->label), toText(plan->ontoLabel)) : tr("Dry run"));
    const bool busy = flow && flow->isBusy();
    state->setText(busy ? tr("computing…") : tr("nothing has been changed"));
    const std::size_t open = run ? run->undecided() : 0;
    settle->setText(open == 0 ? tr("&Settle conflicts") : tr("&Settle %1").arg(counted_(open, "hunk", "hunks")));
    bool conflicts = false;
    if (run)
        for (const ReplayedCommit& commit : run->commits)
            conflicts = conflicts || !commit.conflicts.empty();
    settle->setEnabled(conflicts);
    if (conflicts && open == 0)
        settle->setText(tr("Look at the &settled hunks"));
    apply->setEnabled(run && run->clean && (!flow || flow->canApply()) && !run->plan.branch.empty());
    updateRemarks();
    settle->setDefault(open > 0 || wrong->isVisibleTo(q));
    apply->setDefault(apply->isEnabled());
    const bool hasStacked = !stacked.empty();
    carryStacked->setVisible(hasStacked);
    if (hasStacked && plan) {
        QStringList names;
        for (const StackedBranch& branch : stacked)
            names << toText(branchOrRef(branch.ref));
        carryStacked->setText(tr("Carry %1 along").arg(toCaption(names.join(QLatin1String(", ")))));
        carryStacked->setChecked(!plan->stacked.empty());
    }
    merges->setEnabled(plan && session);
    if (plan)
        merges->setCurrentIndex(plan->merges == MergeCommits::Keep ? 1 : 0);
    command->setText(run ? toText(commandLineEquivalent(run->plan)) : QString());
    command->setCursorPosition(0);
    copy->setEnabled(run != nullptr);
    while (QLayoutItem* item = cautions->takeAt(0)) {
        delete item->widget();
        delete item;
    }
    if (!run) {
        meaning->setText(flow && flow->isActive()
                             ? tr("The replay is computed in memory; the repository is not touched.")
                             : QString());
        return;
    }
    const ForkCopy copyOfFork = flow ? flow->forkCopy() : ForkCopy{};
    meaning->setText(meaningOf(*run, copyOfFork));
    for (const QString& line : cautionsOf(*run, copyOfFork)) {
        auto* label = new PlainLabel(QStringLiteral("▲ ") + line, q);
        label->setWrapped(true);
        theme::keepColour(label, QPalette::WindowText, theme::warning);
        cautions->addWidget(label);
    }
}

void DryRunPage::Private::updateRemarks()
{
    std::size_t all = 0;
    for (const FileRemarks& file : flow ? flow->remarks() : std::vector<FileRemarks>())
        all += file.remarks.size();
    if (all == 0) {
        wrong->clear();
        return;
    }
    const FileRemarks& first = flow->remarks().front();
    QString line = tr("Before this is applied: %1 (line %2 of %3).")
                       .arg(toText(first.remarks.front().words), QString::number(first.remarks.front().line + 1),
                            toText(first.path));
    if (all > 1)
        line += tr(" And %1 more.").arg(all - 1);
    if (wrong->isVisibleTo(q) && wrong->line() == line)
        return;
    wrong->say(NoticeBar::Warning, line);
    QPushButton* leave = wrong->offer(all == 1 ? tr("It is &meant so") : tr("All of it is &meant so"));
    leave->setObjectName(QStringLiteral("leaveRemarks"));
    leave->setAccessibleDescription(line);
    QObject::connect(leave, &QPushButton::clicked, q, [this] { flow->leaveAllAsTheyAre(); });
}

void DryRunPage::Private::edit(Result<Plan> plan, int select)
{
    if (!plan) {
        notice->say(NoticeBar::Warning, toText(plan.error().line()));
        return;
    }
    selectAfter = select;
    if (flow)
        flow->setPlan(*plan);
}

void DryRunPage::Private::move(int from, int to)
{
    if (!run || from < 0 || to < 0 || to >= int(run->plan.commits.size()))
        return;
    // Several steps may be asked for before the dry run has caught up: the newest plan counts.
    edit(withMoved(flow ? flow->plan() : run->plan, std::size_t(from), std::size_t(to)), to);
}

void DryRunPage::Private::treat(Treatment treatment)
{
    const int row = current();
    if (!run || row < 0)
        return;
    const Plan& plan = flow ? flow->plan() : run->plan;
    const bool already = plan.commits[std::size_t(row)].treatment == treatment;
    edit(withTreatment(plan, std::size_t(row), already ? Treatment::Carry : treatment), row);
}

void DryRunPage::Private::beginReword()
{
    const int row = current();
    if (!run || row < 0 || !session)
        return;
    if (const auto& text = run->plan.commits[std::size_t(row)].newMessage) {
        rewording = row;
        message->setPlainText(toLines(*text));
        rewordBox->show();
        message->setFocus();
        return;
    }
    startWork<std::string>(
        q, tr("Reading the message"),
        [path = std::filesystem::path(toBytes(session->path())),
         id = run->commits[std::size_t(row)].id](const Progress&) {
            return Repository::open(path).and_then([&](const Repository& repository) {
                ObjectStore store(repository);
                return readCommit(store, id).transform(&Commit::messageUtf8);
            });
        },
        [this, row](const Result<std::string>& text) {
            if (!text) {
                notice->say(NoticeBar::Trouble, toText(text.error().line()));
                return;
            }
            rewording = row;
            message->setPlainText(toLines(*text));
            rewordBox->show();
            message->setFocus();
        });
}

void DryRunPage::Private::endReword(bool use)
{
    rewordBox->hide();
    list->setFocus();
    const int row = std::exchange(rewording, -1);
    if (!use || row < 0 || !run)
        return;
    std::string text = toBytes(message->toPlainText());
    if (!text.ends_with('\n'))
        text += '\n';
    edit(withMessage(flow ? flow->plan() : run->plan, std::size_t(row), std::move(text)), row);
}

void DryRunPage::Private::gatherFixups()
{
    if (!session || !flow)
        return;
    startWork<Plan>(
        q, tr("Gathering fix-ups"),
        [path = std::filesystem::path(toBytes(session->path())), plan = flow->plan()](const Progress&) {
            return Repository::open(path).transform(
                [&](const Repository& repository) { return withFixupsGathered(repository, plan); });
        },
        [this](Result<Plan> plan) { edit(std::move(plan), 0); });
}

// Keeping merges changes which commits are replayed, so the plan is made again; edits of the old one are gone with it.
void DryRunPage::Private::planAgain(MergeCommits how)
{
    if (!session || !flow || !session->snapshot() || flow->plan().merges == how)
        return;
    startWork<Plan>(
        q, tr("Planning"),
        [path = std::filesystem::path(toBytes(session->path())), snapshot = session->snapshot(), old = flow->plan(),
         how, carry = stacked.empty() || carryStacked->isChecked()](const Progress&) -> Result<Plan> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            const PlanOptions options{carry, how, old.detectLanded, old.committer};
            if (old.below == old.mergeBase && !old.branch.empty())
                return planBranch(*repository, *snapshot, old.branch, old.onto, old.ontoLabel, options);
            return planRange(*repository, *snapshot, old.branch, old.below, old.tip, old.onto, old.ontoLabel, options);
        },
        [this](Result<Plan> plan) {
            if (plan) {
                stacked = plan->stacked;
                asBegun = plan->commits;
            }
            edit(std::move(plan), -1);
        });
}

} // namespace espalier
