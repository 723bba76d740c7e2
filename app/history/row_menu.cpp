// SPDX-License-Identifier: MIT
#include "app/history/row_menu.h"

#include "app/history/graph_drag.h"
#include "app/history/words.h"
#include "app/support/text.h"
#include "core/refs/ref_name.h"

#include <QClipboard>
#include <QGuiApplication>

namespace espalier {

RowMenu::RowMenu(const Snapshot& snapshot, const std::vector<Row>& selected, Row row, int ref,
                 const RowSummary* summary, GraphView* view)
    : QMenu(view), m_view(view)
{
    addReplay(snapshot, selected, row, ref);
    addBranch(snapshot, row, ref);
    addSeparator();
    const Oid here = snapshot.history.id(row);
    const Row other = selected.size() == 2 ? (selected[0] == row ? selected[1] : selected[0]) : view->currentRow();
    QAction* compare = addAction(tr("Compare with selected"));
    compare->setEnabled(other != noRow && other != row);
    if (compare->isEnabled()) {
        const Oid there = snapshot.history.id(other);
        connect(compare, &QAction::triggered, view, [view, here, there, older = row > other] {
            Q_EMIT view->compareRequested(older ? here : there, older ? there : here);
        });
    }
    QAction* versions = addAction(tr("Compare as versions of a branch"));
    versions->setEnabled(compare->isEnabled());
    if (versions->isEnabled()) {
        const Oid there = snapshot.history.id(other);
        connect(versions, &QAction::triggered, view, [view, here, there, older = row > other] {
            Q_EMIT view->versionsRequested(older ? here : there, older ? there : here);
        });
    }
    addForkVersions(snapshot, row, ref);
    addAction(tr("Focus on this branch"), view, [view, row] { view->focusOn(row); });
    if (view->isFocused())
        addAction(tr("Show everything"), view, [view] { view->focusOn(noRow); });
    addSeparator();
    addCopies(snapshot, row, summary);
}

void RowMenu::addReplay(const Snapshot& snapshot, const std::vector<Row>& selected, Row row, int ref)
{
    std::optional<DragSource> source;
    if (ref >= 0)
        source = dragOfRef(snapshot, ref);
    else if (selected.size() > 1 && std::ranges::find(selected, row) != selected.end())
        source = dragOfRows(snapshot, selected);
    if (!source && ref < 0)
        if (const Ref* branch = branchAt(snapshot, row))
            source = dragOfRef(snapshot, int(branch - snapshot.refs.data()));
    if (source)
        addAction(tr("Replay %1 onto\u2026").arg(toCaption(source->label)), m_view,
                  [view = m_view, what = *source] { view->beginReplayOnto(what); });
    const auto commit = dragOfRows(snapshot, {row});
    QAction* single = addAction(tr("Replay this commit onto\u2026"));
    single->setEnabled(commit.has_value());
    if (commit)
        connect(single, &QAction::triggered, m_view, [view = m_view, what = *commit] { view->beginReplayOnto(what); });
}

void RowMenu::addBranch(const Snapshot& snapshot, Row row, int ref)
{
    addSeparator();
    GraphView* view = m_view;
    std::vector<int> refs = ref >= 0 ? std::vector<int>{ref} : snapshot.refsAt(row);
    constexpr std::size_t most = 6;
    if (refs.size() > most)
        refs.resize(most);
    for (int at : refs) {
        const Ref& each = snapshot.refs[std::size_t(at)];
        if (each.kind != RefKind::Branch)
            continue;
        const QString name = QString::fromStdString(each.name);
        const QString label = toCaption(refLabel(each));
        if (!isHeadBranch(snapshot, each))
            addAction(tr("Check out %1").arg(label), view, [view, name] { Q_EMIT view->checkOutRequested(name); });
        addAction(tr("Rename %1\u2026").arg(label), view, [view, name] { Q_EMIT view->renameRequested(name); });
        if (!isHeadBranch(snapshot, each))
            addAction(tr("Delete %1\u2026").arg(label), view, [view, name] { Q_EMIT view->deleteRequested(name); });
    }
    addAction(tr("Create branch here\u2026"), view,
              [view, id = snapshot.history.id(row)] { Q_EMIT view->createBranchRequested(id); });
}

// The fork's copy is the older version: a replay leaves it behind until it is overwritten.
void RowMenu::addForkVersions(const Snapshot& snapshot, Row row, int ref)
{
    for (int at : ref >= 0 ? std::vector<int>{ref} : snapshot.refsAt(row)) {
        const Ref& each = snapshot.refs[std::size_t(at)];
        if (each.branch.empty() || each.kind == RefKind::Tag)
            continue;
        const Ref* fork = snapshot.forkCopy(each.branch);
        const Ref* own = snapshot.findRef(branchRef(each.branch));
        if (!fork || !own || fork->row == own->row)
            continue;
        addAction(tr("Compare %1 with the fork's version").arg(toCaption(refLabel(*own))), m_view,
                  [view = m_view, before = fork->tip, now = own->tip] { Q_EMIT view->versionsRequested(before, now); });
        return;
    }
}

void RowMenu::addCopies(const Snapshot& snapshot, Row row, const RowSummary* summary)
{
    const QString id = QString::fromStdString(snapshot.history.id(row).hex());
    addAction(tr("Copy id"), m_view, [view = m_view, id] {
        QGuiApplication::clipboard()->setText(id);
        Q_EMIT view->said(tr("Copied %1").arg(id.left(7)));
    });
    QAction* subject = addAction(tr("Copy subject"));
    subject->setEnabled(summary != nullptr);
    if (summary)
        connect(subject, &QAction::triggered, m_view,
                [words = summary->subject] { QGuiApplication::clipboard()->setText(words); });
}

} // namespace espalier
