// SPDX-License-Identifier: MIT
#include "app/drift/drift_board.h"

#include "app/drift/drift_delegate.h"
#include "app/drift/drift_list.h"
#include "app/drift/drift_model.h"
#include "app/support/drop_spot.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <QContextMenuEvent>
#include <QMenu>
#include <QScrollBar>
#include <QVBoxLayout>

namespace espalier {

namespace {

// Up to three names and how many more.
QString someOf(const std::vector<std::string>& refs)
{
    constexpr std::size_t most = 3;
    QStringList names;
    for (std::size_t i = 0; i < std::min(refs.size(), most); ++i)
        names.append(toText(branchOrRef(refs[i])));
    if (refs.size() > most)
        names.append(DriftBoard::tr("%1 more").arg(refs.size() - most));
    return names.join(QStringLiteral(", "));
}

QString newsLine(const News& news, const QString& mainLine)
{
    QStringList parts;
    if (news.commits > 0)
        parts.append(DriftBoard::tr("%1 on %2 since your last look")
                         .arg(toText(counted(news.commits, "new commit", "new commits")), mainLine));
    if (!news.nowConflict.empty())
        parts.append(DriftBoard::tr("now in conflict: %1").arg(someOf(news.nowConflict)));
    if (!news.nowLanded.empty())
        parts.append(DriftBoard::tr("now landed: %1").arg(someOf(news.nowLanded)));
    if (!news.nowClean.empty())
        parts.append(DriftBoard::tr("now clean: %1").arg(someOf(news.nowClean)));
    return parts.join(QStringLiteral(" · "));
}

} // namespace

DriftBoard::DriftBoard(const Session* session, QWidget* parent)
    : QWidget(parent)
    , m_session(session)
    , m_model(new DriftModel(this))
    , m_list(new DriftList(m_model, this))
    , m_title(new PlainLabel(tr("Drift"), this))
    , m_news(new PlainLabel(this))
    , m_behind(new PlainLabel(tr("behind"), this))
    , m_ahead(new PlainLabel(tr("ahead"), this))
    , m_footer(new PlainLabel(this))
    , m_empty(new PlainLabel(this))
{
    setAccessibleName(tr("Drift board"));
    auto* card = new Card(this);
    auto* outer = new QVBoxLayout(this);
    outer->setContentsMargins(0, 0, 0, 0);
    outer->addWidget(card);
    auto* column = new QVBoxLayout(card);
    const int space = theme::gap(this);
    column->setContentsMargins(space / 2, space * 3 / 2, space / 2, space);
    column->setSpacing(space / 2);
    m_title->setFont(theme::sized(font(), 1.15, true));
    m_title->setContentsMargins(space, 0, space, 0);
    auto* axis = new QWidget(card);
    axis->setFixedHeight(fontMetrics().height());
    for (PlainLabel* label : {m_news, m_behind, m_ahead, m_footer, m_empty}) {
        label->setFont(theme::sized(font(), 0.9));
        theme::keepColour(label, QPalette::WindowText, theme::quiet);
    }
    m_behind->setParent(axis);
    m_ahead->setParent(axis);
    m_behind->setAlignment(Qt::AlignRight | Qt::AlignVCenter);
    m_footer->setContentsMargins(space, 0, space, 0);
    m_footer->setObjectName(QStringLiteral("forecastLine"));
    m_news->setObjectName(QStringLiteral("newsLine"));
    m_news->setWrapped(true);
    m_news->setContentsMargins(space, 0, space, 0);
    m_news->hide();
    m_empty->setWrapped(true);
    m_empty->setContentsMargins(space, space, space, space);
    m_empty->hide();
    m_list->setItemDelegate(new DriftDelegate(m_model, m_list));
    m_list->setFrameShape(QFrame::NoFrame);
    m_list->setDragEnabled(true);
    m_list->setAcceptDrops(true);
    m_list->setDropIndicatorShown(true);
    m_list->setDragDropMode(QAbstractItemView::DragDrop);
    m_list->setDefaultDropAction(Qt::LinkAction);
    m_list->setMouseTracking(true);
    m_list->setVerticalScrollMode(QAbstractItemView::ScrollPerPixel);
    m_list->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    m_list->setLayoutMode(QListView::SinglePass);
    m_list->setAccessibleName(tr("Branches and their drift"));
    m_list->setContextMenuPolicy(Qt::NoContextMenu);
    column->addWidget(m_title);
    column->addWidget(m_news);
    column->addWidget(axis);
    column->addWidget(m_empty);
    column->addWidget(m_list, 1);
    column->addWidget(m_footer);
    m_list->viewport()->installEventFilter(this);
    setFocusProxy(m_list);
    m_model->setSession(session);
    m_headSpot = new DropSpot(Place::Upstream, card);
    connect(m_headSpot, &DropSpot::dropped, this, &DriftBoard::replayRequested);
    connect(m_list, &DriftList::dragBegan, this, &DriftBoard::dragBegan);
    connect(m_list, &DriftList::dragEnded, this, &DriftBoard::dragEnded);
    connect(m_model, &DriftModel::dropped, this, &DriftBoard::replayRequested);
    connect(m_list->selectionModel(), &QItemSelectionModel::currentChanged, this, [this](const QModelIndex& index) {
        if (index.isValid() && !m_model->row(index.row()).heading)
            Q_EMIT branchChosen(m_model->row(index.row()).ref);
    });
    connect(m_list, &QListView::activated, this, [this](const QModelIndex& index) {
        if (!m_model->row(index.row()).heading)
            Q_EMIT branchChosen(m_model->row(index.row()).ref);
    });
    connect(session, &Session::snapshotChanged, this, &DriftBoard::reload);
    connect(session, &Session::driftChanged, this, &DriftBoard::reload);
    connect(session, &Session::localChangesChanged, m_model, &DriftModel::updateChanges);
    connect(session, &Session::forecastChanged, m_model, &DriftModel::updateForecast);
    connect(m_model, &DriftModel::forecastsArrived, m_list->viewport(), qOverload<>(&QWidget::update));
    // Rows go to other groups by and by; what is chosen stays so, and in view if it was.
    connect(m_model, &QAbstractItemModel::modelAboutToBeReset, this, [this] {
        // Between a snapshot and its drift there are no rows.
        if (m_model->branchCount() == 0)
            return;
        m_kept = selected();
        m_scrolledTo = m_list->verticalScrollBar()->value();
    });
    connect(m_model, &QAbstractItemModel::modelReset, this, [this] {
        if (m_kept.empty() || m_model->branchCount() == 0)
            return;
        select(m_kept);
        m_list->verticalScrollBar()->setValue(m_scrolledTo);
    });
    connect(session, &Session::forecastsDone, this, [this](qint64 milliseconds) {
        m_footer->setText(tr("%1 · forecast of all finished in %2 s")
                              .arg(toText(counted(std::size_t(m_model->branchCount()), "branch", "branches")))
                              .arg(std::max(0.1, double(milliseconds) / 1000), 0, 'f', 1));
        const SnapshotPtr snapshot = m_session->snapshot();
        const Ref* mainLine = snapshot ? snapshot->mainLineRef() : nullptr;
        m_news->setText(mainLine ? newsLine(m_session->news(), toText(mainLine->shortName)) : QString());
        m_news->setVisible(mainLine && !m_session->news().empty());
    });
    reload();
}

void DriftBoard::reload()
{
    m_model->reload();
    const SnapshotPtr snapshot = m_session->snapshot();
    // Another repository's branch of the same name is another branch.
    if (snapshot && std::exchange(m_path, snapshot->path) != snapshot->path)
        m_kept.clear();
    if (!snapshot)
        m_news->hide();
    const Ref* mainLine = snapshot ? snapshot->mainLineRef() : nullptr;
    m_title->setText(mainLine ? tr("Drift from %1").arg(toText(mainLine->shortName)) : tr("Drift"));
    const QString branches = toText(counted(std::size_t(m_model->branchCount()), "branch", "branches"));
    m_footer->setText(m_session->drift() ? tr("%1 · forecasting…").arg(branches) : QString());
    const bool none = snapshot && m_session->drift() && m_model->branchCount() == 0;
    m_empty->setText(none ? tr("No branch yet. A commit in the worktree makes the first one.") : QString());
    m_empty->setVisible(none);
}

QListView* DriftBoard::list() const { return m_list; }

void DriftBoard::offerDrops(const DragSource& source)
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* main = snapshot ? snapshot->mainLineRef() : nullptr;
    if (!main)
        return;
    const DropTarget target{main->tip, main->name, toText(main->shortName)};
    // The head line down to where the rows begin.
    m_headSpot->setGeometry(
        QRect(m_title->geometry().topLeft(), QPoint(m_title->geometry().right(), m_list->geometry().top()))
            .adjusted(2, -4, -2, -2));
    m_headSpot->offer(source, target, answerDrop(*snapshot, source, target));
}

void DriftBoard::withdrawDrops() { m_headSpot->withdraw(); }

std::string DriftBoard::selected() const
{
    const QModelIndex index = m_list->currentIndex();
    if (!index.isValid() || m_model->row(index.row()).heading)
        return {};
    return m_model->row(index.row()).ref;
}

void DriftBoard::select(const std::string& ref)
{
    const int at = m_model->indexOf(ref);
    if (at < 0 || m_list->currentIndex().row() == at)
        return;
    const QSignalBlocker quiet(m_list->selectionModel());
    m_list->setCurrentIndex(m_model->index(at));
    m_list->viewport()->update();
}

bool DriftBoard::eventFilter(QObject* watched, QEvent* event)
{
    // The list gets its width after the board has got its own.
    if (event->type() == QEvent::Resize && watched == m_list->viewport())
        placeWords();
    return QWidget::eventFilter(watched, event);
}

void DriftBoard::placeWords()
{
    // The words stand on both sides of the rows' axis.
    const int pad = fontMetrics().height() * 3 / 5;
    const int room = m_list->viewport()->width() - 2 * pad;
    const int axis = pad + DriftDelegate::axisAt(room);
    const int space = theme::gap(this) / 2;
    m_behind->setGeometry(0, 0, axis - space, fontMetrics().height());
    m_ahead->setGeometry(axis + space, 0, room - axis, fontMetrics().height());
}

void DriftBoard::contextMenuEvent(QContextMenuEvent* event)
{
    const QRect row = m_list->visualRect(m_list->currentIndex());
    showMenu(event->reason() == QContextMenuEvent::Keyboard ? m_list->viewport()->mapToGlobal(row.center())
                                                            : event->globalPos());
}

void DriftBoard::showMenu(const QPoint& globalPosition)
{
    const std::string ref = selected();
    if (ref.empty())
        return;
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* found = snapshot ? snapshot->findRef(ref) : nullptr;
    if (!found)
        return;
    const bool own = found->kind == RefKind::Branch;
    auto* menu = new QMenu(this);
    menu->setAttribute(Qt::WA_DeleteOnClose);
    const auto add = [&](const QString& text, bool enabled, auto signal) {
        QAction* action = menu->addAction(text);
        action->setEnabled(enabled);
        connect(action, &QAction::triggered, this, [this, ref, signal] { Q_EMIT(this->*signal)(ref); });
    };
    add(tr("&Replay onto…"), own, &DriftBoard::replayOntoRequested);
    add(tr("&Push…"), own && !snapshot->roles.fork.empty(), &DriftBoard::pushRequested);
    add(tr("&Check out"), !snapshot->worktree.bare && ref != snapshot->worktree.headBranch,
        &DriftBoard::checkOutRequested);
    add(tr("&Show only its divergence"), true, &DriftBoard::focusRequested);
    menu->addSeparator();
    add(tr("Re&name…"), own, &DriftBoard::renameRequested);
    add(tr("&Delete…"), own && ref != snapshot->worktree.headBranch, &DriftBoard::deleteRequested);
    menu->addSeparator();
    connect(menu->addAction(tr("Clean &up landed branches…")), &QAction::triggered, this,
            &DriftBoard::cleanUpRequested);
    menu->popup(globalPosition);
}

} // namespace espalier
