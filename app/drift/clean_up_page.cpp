// SPDX-License-Identifier: MIT
#include "app/drift/clean_up_page.h"

#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "core/git/text.h"

#include <QHBoxLayout>
#include <QHeaderView>
#include <QPushButton>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

namespace {

enum Column { Branch, How, InClone, OnFork };

QString howItLanded(const Forecast& landed)
{
    if (landed.kind == Forecast::FastForward)
        return CleanUpPage::tr("merged: the main line reaches its tip");
    if (landed.landedAs)
        return CleanUpPage::tr("landed as one commit, %1").arg(toText(landed.landedAs->brief()));
    if (landed.empty == 0)
        return CleanUpPage::tr("landed, %1 under other ids").arg(toText(counted(landed.landed, "commit", "commits")));
    return CleanUpPage::tr("nothing is left of it: what %1 would change is on the main line")
        .arg(toText(counted(landed.empty + landed.landed, "commit", "commits")));
}

} // namespace

CleanUpPage::CleanUpPage(Session* session, QWidget* parent)
    : QWidget(parent)
    , m_session(session)
    , m_list(new QTreeWidget(this))
    , m_notice(new NoticeBar(this))
    , m_delete(new QPushButton(tr("&Delete what is ticked"), this))
{
    QVBoxLayout* column = page::readableColumn(this);
    auto* head = new PageHead(tr("Clean up"), this);
    m_sentence = head->sentence();
    m_sentence->show();
    auto* close = new QPushButton(tr("&Close"), head);
    head->addAction(close);
    m_card = new Card(this);
    auto* inside = page::tableColumn(m_card);
    m_list->setHeaderLabels({tr("Branch"), tr("How it landed"), tr("In the clone"), tr("On the fork")});
    m_list->setRootIsDecorated(false);
    m_list->setUniformRowHeights(true);
    m_list->setAllColumnsShowFocus(true);
    m_list->setFrameShape(QFrame::NoFrame);
    m_list->setAccessibleName(tr("Branches that have landed"));
    m_list->header()->setStretchLastSection(false);
    m_list->header()->setSectionResizeMode(QHeaderView::ResizeToContents);
    m_list->header()->setSectionResizeMode(How, QHeaderView::Stretch);
    m_delete->setObjectName(QStringLiteral("delete"));
    m_delete->setDefault(true);
    auto* buttons = new QHBoxLayout;
    buttons->addWidget(m_delete);
    buttons->addStretch(1);
    inside->addWidget(m_list);
    page::addToTable(inside, buttons);
    column->addWidget(head);
    column->addWidget(m_notice);
    column->addWidget(m_card);
    setFocusProxy(m_list);
    column->addStretch(1);
    connect(close, &QPushButton::clicked, this, &CleanUpPage::closed);
    connect(m_delete, &QPushButton::clicked, this, &CleanUpPage::deleteChosen);
    connect(m_list, &QTreeWidget::itemChanged, this, &CleanUpPage::judge);
    connect(session, &Session::snapshotChanged, this, [this] {
        if (isVisible())
            reload();
    });
}

void CleanUpPage::reload()
{
    const SnapshotPtr snapshot = m_session->snapshot();
    if (!snapshot)
        return;
    m_card->setVisible(!m_candidates.empty());
    m_sentence->setText(tr("Looking for branches that have landed…"));
    m_delete->setEnabled(false);
    startWork<std::vector<CleanUpCandidate>>(
        this, tr("Looking for branches that have landed"),
        [snapshot](const Progress& progress) -> Result<std::vector<CleanUpCandidate>> {
            auto repository = Repository::open(snapshot->path);
            if (!repository)
                return std::unexpected(repository.error());
            return findCleanUp(*repository, snapshot, progress);
        },
        [this, snapshot](Result<std::vector<CleanUpCandidate>> found) {
            if (snapshot != m_session->snapshot())
                return;
            m_candidates = found ? std::move(*found) : std::vector<CleanUpCandidate>();
            fill();
            if (!found)
                m_sentence->setText(toText(found.error().line()));
            Q_EMIT loaded();
        });
}

void CleanUpPage::fill()
{
    {
        const QSignalBlocker quiet(m_list);
        m_list->clear();
        for (const CleanUpCandidate& candidate : m_candidates) {
            auto* item = new QTreeWidgetItem(m_list);
            item->setText(Branch, toText(candidate.branch));
            item->setText(How, howItLanded(candidate.landed));
            if (candidate.checkedOut) {
                item->setText(InClone, tr("checked out"));
                item->setToolTip(InClone, tr("Check out another branch first."));
                item->setDisabled(true);
                continue;
            }
            item->setCheckState(InClone, Qt::Checked);
            if (candidate.forkTip)
                item->setCheckState(OnFork, Qt::Checked);
            else
                item->setText(OnFork, tr("not there"));
        }
    }
    page::fitRows(m_list, 20);
    m_card->setVisible(!m_candidates.empty());
    m_sentence->setText(
        m_candidates.empty()
            ? tr("Nothing to clean up: no topic branch has landed wholly on the main line.")
            : tr("Everything these branches bring is on the main line. What is deleted can be taken back from "
                 "the logbook, on the fork too."));
    judge();
}

void CleanUpPage::judge()
{
    int chosen = 0;
    for (int i = 0; i < m_list->topLevelItemCount(); ++i) {
        QTreeWidgetItem* item = m_list->topLevelItem(i);
        const bool inClone = !item->isDisabled() && item->checkState(InClone) == Qt::Checked;
        chosen += inClone;
        // The fork's copy goes only together with the clone's branch.
        if (!inClone && !item->isDisabled() && m_candidates[std::size_t(i)].forkTip &&
            item->checkState(OnFork) == Qt::Checked) {
            const QSignalBlocker quiet(m_list);
            item->setCheckState(OnFork, Qt::Unchecked);
        }
    }
    m_delete->setEnabled(chosen > 0);
}

void CleanUpPage::deleteChosen()
{
    m_delete->setEnabled(false);
    m_refusals.clear();
    m_notice->clear();
    const auto answered = [this](const Result<std::vector<LogbookEntry>>& done) {
        if (done)
            return;
        m_refusals << toText(done.error().line());
        m_notice->say(NoticeBar::Trouble, m_refusals.join(QLatin1Char('\n')));
    };
    for (int i = 0; i < m_list->topLevelItemCount(); ++i) {
        const QTreeWidgetItem* item = m_list->topLevelItem(i);
        const CleanUpCandidate& candidate = m_candidates[std::size_t(i)];
        if (!item->isDisabled() && item->checkState(InClone) == Qt::Checked)
            m_session->cleanUp(candidate, candidate.forkTip && item->checkState(OnFork) == Qt::Checked, answered);
    }
}

} // namespace espalier
