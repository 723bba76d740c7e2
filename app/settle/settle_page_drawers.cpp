// SPDX-License-Identifier: MIT
//
// The drawers below the decisions of the settle page: what stood there before both sides, who changed it, and the check of the
// settled commit. There is room for one of them at a time.
#include "app/settle/settle_page_private.h"

#include "app/settle/before_both.h"
#include "app/settle/check_drawer.h"
#include "app/settle/commit_drawer.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QScopedValueRollback>
#include <QToolButton>
#include <QVBoxLayout>

namespace espalier {

QWidget* SettlePage::Private::buildDrawers(QWidget* parent)
{
    drawers = new Card(parent);
    const int space = theme::gap(page);
    auto* column = new QVBoxLayout(drawers);
    column->setContentsMargins(space, space / 2, space, space / 2);
    column->setSpacing(space / 2);
    drawer = new BeforeBoth(drawers);
    commits = new CommitDrawer(drawers);
    check = new CheckDrawer(drawers);
    auto* handles = new QHBoxLayout;
    handles->setSpacing(space * 2);
    handles->addWidget(drawer->handle());
    handles->addWidget(commits->handle());
    handles->addWidget(check->handle());
    handles->addStretch(1);
    column->addLayout(handles);
    column->addWidget(drawer);
    column->addWidget(commits);
    column->addWidget(check);
    QObject::connect(drawer->handle(), &QToolButton::toggled, page, [this](bool open) { drawerToggled(drawer, open); });
    QObject::connect(commits, &CommitDrawer::opened, page, [this](bool open) { drawerToggled(commits, open); });
    QObject::connect(check, &CheckDrawer::opened, page, [this](bool open) { drawerToggled(check, open); });
    QObject::connect(commits, &CommitDrawer::changeWanted, page, [this](const Oid& id) { askChange(id); });
    return drawers;
}

// Before both stands open unless another one is, or the user closed it.
void SettlePage::Private::drawerToggled(const QWidget* which, bool open)
{
    if (switching)
        return;
    const QScopedValueRollback quiet(switching, true);
    const bool another = which == commits ? check->isOpen() : which == check && commits->isOpen();
    if (open && which != drawer && !another)
        drawerWasOpen = drawer->isOpen();
    if (open && which != commits)
        commits->setOpen(false);
    if (open && which != check)
        check->setOpen(false);
    if (which != drawer)
        drawer->setOpen(!open && drawerWasOpen);
    showDrawers(file >= 0 && !shown->files[std::size_t(file)].text.wholePath);
}

// A conflict of a whole path has no lines that somebody changed.
void SettlePage::Private::showDrawers(bool ofText)
{
    drawer->handle()->setVisible(ofText);
    commits->handle()->setVisible(ofText);
    drawer->setVisible(ofText && drawer->isOpen());
    commits->setVisible(ofText && commits->isOpen());
}

// What the dry run has made of the commit that is shown; nothing while it is being computed anew.
void SettlePage::Private::showCheck()
{
    check->setRepository(session->path());
    const DryRunPtr run = flow->run();
    const ReplayedCommit* commit =
        run && !flow->isBusy() && shown->standsFor(*run) ? &run->commits[shown->commit] : nullptr;
    if (!commit || !commit->newTree)
        check->setCommit(
            {{}, {}, {}, commit && (commit->outcome == Outcome::Empty || commit->outcome == Outcome::Landed)});
    else
        check->setCommit({run->objects, *commit->newTree, toText(commit->subject)});
}

} // namespace espalier
