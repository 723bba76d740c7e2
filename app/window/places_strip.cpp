// SPDX-License-Identifier: MIT
#include "app/window/places_strip.h"

#include "app/support/drop_spot.h"
#include "app/support/theme.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <QDir>
#include <QEvent>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QPushButton>
#include <QTimer>
#include <QToolButton>

namespace espalier {

namespace {

const Remote* findRemote(const Snapshot& snapshot, const std::string& name)
{
    for (const Remote& remote : snapshot.remotes)
        if (remote.name == name)
            return &remote;
    return nullptr;
}

QString commits(std::uint32_t count) { return toText(counted(count, "commit", "commits")); }

QString against(const std::optional<AheadBehind>& standing, const QString& mainLine)
{
    if (!standing)
        return PlacesStrip::tr("no copy of %1").arg(mainLine);
    if (standing->ahead == 0 && standing->behind == 0)
        return PlacesStrip::tr("%1 · level with upstream").arg(mainLine);
    if (standing->ahead == 0)
        return PlacesStrip::tr("%1 · %2 behind upstream").arg(mainLine, QString::number(standing->behind));
    if (standing->behind == 0)
        return PlacesStrip::tr("%1 · %2 ahead of upstream").arg(mainLine, QString::number(standing->ahead));
    return PlacesStrip::tr("%1 · %2 behind, %3 of its own")
        .arg(mainLine, QString::number(standing->behind), QString::number(standing->ahead));
}

QString fetched(const Remote* remote)
{
    if (!remote)
        return {};
    return remote->lastFetched > 0 ? PlacesStrip::tr("fetched %1").arg(relativeTime(remote->lastFetched))
                                   : PlacesStrip::tr("not fetched yet");
}

QString tidyPath(const QString& path)
{
    const QString home = QDir::homePath();
    return home.size() > 1 && path.startsWith(home + QLatin1Char('/')) ? QLatin1Char('~') + path.mid(home.size())
                                                                       : path;
}

// What a plain or forced push would change on the fork: branches whose copy there is not the clone's tip.
std::vector<const Ref*> branchesToPush(const Drift& drift)
{
    std::vector<const Ref*> found;
    for (const BranchDrift& branch : drift.branches) {
        const Ref& ref = drift.snapshot->refs[std::size_t(branch.ref)];
        if (ref.kind == RefKind::Branch && (branch.fork == ForkState::Behind || branch.fork == ForkState::OlderVersion))
            found.push_back(&ref);
    }
    return found;
}

} // namespace

PlacesStrip::PlacesStrip(const Session* session, QWidget* parent) : QWidget(parent), m_session(session)
{
    auto* row = new QHBoxLayout(this);
    row->setContentsMargins(0, 0, 0, 0);
    row->setSpacing(theme::gap(this));
    for (const Place place : {Place::Upstream, Place::Fork, Place::Clone}) {
        build(place);
        row->addWidget(m_cards[std::size_t(place)].card, 1);
    }
    colour();
    connect(session, &Session::snapshotChanged, this, &PlacesStrip::reload);
    connect(session, &Session::driftChanged, this, &PlacesStrip::reload);
    connect(session, &Session::localChangesChanged, this, &PlacesStrip::reload);
    // "fetched 2 minutes ago" goes stale by itself.
    auto* minute = new QTimer(this);
    connect(minute, &QTimer::timeout, this, &PlacesStrip::reload);
    minute->start(60'000);
    reload();
}

void PlacesStrip::build(Place place)
{
    static constexpr std::array names{QT_TR_NOOP("Upstream"), QT_TR_NOOP("Fork"), QT_TR_NOOP("Clone")};
    PlaceCard& at = m_cards[std::size_t(place)];
    const int space = theme::gap(this);
    at.card = new Card(this);
    at.name = new PlainLabel(tr(names[std::size_t(place)]), at.card);
    at.name->setFont(theme::sized(font(), 1.15, true));
    at.url = new PlainLabel(at.card);
    at.url->setElideMode(Qt::ElideMiddle);
    at.standing = new PlainLabel(at.card);
    at.when = new PlainLabel(at.card);
    at.when->setFont(theme::sized(font(), 0.9));
    at.action = new QPushButton(at.card);
    at.roles = new QToolButton(at.card);
    at.roles->setText(QStringLiteral("⋯"));
    at.roles->setAutoRaise(true);
    at.roles->setToolTip(tr("Which remote is which…"));
    at.roles->setAccessibleName(tr("Which remote is which"));
    // Hidden it keeps its room, so that the three titles stand on one line.
    QSizePolicy room = at.roles->sizePolicy();
    room.setRetainSizeWhenHidden(true);
    at.roles->setSizePolicy(room);
    connect(at.roles, &QToolButton::clicked, this, &PlacesStrip::rolesRequested);
    connect(at.action, &QPushButton::clicked, this, [&at] {
        if (at.act)
            at.act();
    });
    at.mainSpot = new DropSpot(place, at.card);
    at.copySpot = new DropSpot(place, at.card);
    for (DropSpot* spot : {at.mainSpot, at.copySpot})
        connect(spot, &DropSpot::dropped, this, &PlacesStrip::replayRequested);
    auto* grid = new QGridLayout(at.card);
    grid->setContentsMargins(space * 2, space, space, space);
    grid->setHorizontalSpacing(space);
    grid->setVerticalSpacing(space / 4);
    auto* title = new QHBoxLayout;
    title->setSpacing(space);
    title->addWidget(at.name);
    title->addWidget(at.url, 1);
    title->addWidget(at.roles);
    at.name->setSizePolicy(QSizePolicy::Fixed, QSizePolicy::Preferred);
    grid->addLayout(title, 0, 0, 1, 2);
    grid->addWidget(at.standing, 1, 0);
    grid->addWidget(at.when, 2, 0);
    grid->addWidget(at.action, 1, 1, 2, 1, Qt::AlignVCenter);
    grid->setColumnStretch(0, 1);
}

void PlacesStrip::colour()
{
    for (const Place place : {Place::Upstream, Place::Fork, Place::Clone}) {
        PlaceCard& at = m_cards[std::size_t(place)];
        const QColor hue = theme::place(place, palette());
        at.card->setAccent([place](const QPalette& on) { return theme::place(place, on); });
        QPalette name = palette();
        name.setColor(QPalette::WindowText, hue);
        at.name->setPalette(name);
        QPalette faint = palette();
        faint.setColor(QPalette::WindowText, theme::quiet(palette()));
        at.url->setPalette(faint);
        at.when->setPalette(faint);
        QPalette button = palette();
        button.setColor(QPalette::ButtonText, hue);
        button.setColor(QPalette::Button, theme::placeTint(place, palette()));
        at.action->setPalette(button);
    }
}

void PlacesStrip::changeEvent(QEvent* event)
{
    QWidget::changeEvent(event);
    if (event->type() == QEvent::PaletteChange && m_cards[0].card)
        colour();
}

void PlacesStrip::reload()
{
    const SnapshotPtr snapshot = m_session->snapshot();
    for (PlaceCard& at : m_cards) {
        for (PlainLabel* label : {at.url, at.standing, at.when})
            label->setText({});
        at.action->setText({});
        at.act = {};
        at.roles->setVisible(false);
    }
    if (snapshot) {
        fillUpstream(m_cards[0], *snapshot);
        fillFork(m_cards[1], *snapshot);
        fillClone(m_cards[2], *snapshot);
        m_cards[0].roles->setVisible(!snapshot->remotes.empty());
        m_cards[1].roles->setVisible(!snapshot->remotes.empty());
    }
    for (PlaceCard& at : m_cards) {
        at.action->setVisible(bool(at.act));
        at.card->setAccessibleName(at.name->fullText());
        at.card->setAccessibleDescription(at.standing->fullText() + QLatin1Char('\n') + at.when->fullText());
    }
}

void PlacesStrip::fetchBy(PlaceCard& card, const std::string& remote)
{
    card.action->setText(tr("Fetch"));
    card.act = [this, remote] { Q_EMIT fetchRequested(remote); };
}

void PlacesStrip::fillUpstream(PlaceCard& card, const Snapshot& snapshot)
{
    const Remote* remote = findRemote(snapshot, snapshot.roles.upstream);
    if (!remote) {
        card.standing->setText(tr("No upstream: the main line is the clone's own."));
        if (!snapshot.worktree.bare) {
            card.action->setText(tr("Add upstream…"));
            card.act = [this] { Q_EMIT addUpstreamRequested(); };
        }
        return;
    }
    card.url->setText(tidyPath(toText(withoutSecret(remote->url))));
    card.when->setText(fetched(remote));
    const Ref* mainLine = snapshot.mainLineRef();
    const auto& clone = m_session->mainLines().clone;
    if (!mainLine)
        card.standing->setText(tr("no branch yet"));
    else if (m_session->drift() && clone && clone->behind > 0)
        card.standing->setText(
            tr("%1 · %2 that the clone lacks").arg(toText(mainLine->branch), commits(clone->behind)));
    else
        card.standing->setText(tr("%1 · the main line").arg(toText(mainLine->branch)));
    fetchBy(card, remote->name);
}

void PlacesStrip::fillFork(PlaceCard& card, const Snapshot& snapshot)
{
    const Remote* remote = findRemote(snapshot, snapshot.roles.fork);
    if (!remote) {
        card.standing->setText(tr("No fork: there is nothing to push to."));
        return;
    }
    card.url->setText(tidyPath(toText(withoutSecret(remote->pushUrl.empty() ? remote->url : remote->pushUrl))));
    card.when->setText(fetched(remote));
    if (snapshot.roles.oneForBoth()) {
        card.standing->setText(tr("the same remote as upstream plays this part too"));
        if (snapshot.remotes.size() == 1 && !snapshot.worktree.bare) {
            card.action->setText(tr("Add upstream…"));
            card.act = [this] { Q_EMIT addUpstreamRequested(); };
        }
        return;
    }
    const Ref* mainLine = snapshot.mainLineRef();
    if (m_session->drift() && mainLine) {
        const std::vector<const Ref*> waiting = branchesToPush(*m_session->drift());
        QString text = against(m_session->mainLines().fork, toText(mainLine->branch));
        if (!waiting.empty()) {
            text += tr(" · %1 to push").arg(toText(counted(waiting.size(), "branch", "branches")));
            // The branch that is checked out is the likely one.
            const auto head = std::find_if(waiting.begin(), waiting.end(),
                                           [&](const Ref* ref) { return ref->name == snapshot.worktree.headBranch; });
            const std::string branch = head != waiting.end() ? (*head)->branch : waiting.front()->branch;
            card.action->setText(tr("Push…"));
            card.action->setToolTip(toToolTip(tr("Push %1…").arg(toText(branch))));
            card.act = [this, branch] { Q_EMIT pushRequested(branch); };
        }
        card.standing->setText(text);
    }
    if (!card.act) {
        card.action->setToolTip({});
        fetchBy(card, remote->name);
    }
}

void PlacesStrip::fillClone(PlaceCard& card, const Snapshot& snapshot)
{
    card.url->setText(tidyPath(toText(m_session->path().toStdString())));
    const WorktreeState& worktree = snapshot.worktree;
    const Ref* head = snapshot.findRef(worktree.headBranch);
    const std::string_view headName = branchOrRef(worktree.headBranch);
    QString where;
    if (worktree.bare)
        where = tr("bare: there is no worktree");
    else if (worktree.unborn)
        where = tr("on %1, which has no commit yet").arg(toText(headName));
    else if (worktree.detached)
        where = tr("on commit %1, no branch").arg(toText(worktree.headTip.brief()));
    else
        where = tr("on %1").arg(toText(head ? head->shortName : headName));
    if (!worktree.inProgress.empty())
        where += tr(" · %1 in progress").arg(toText(worktree.inProgress));
    if (const auto& changes = m_session->localChanges(); changes && changes->any())
        where += QStringLiteral(" · ") + toText(changes->words());
    card.when->setText(where);
    const Ref* mainLine = snapshot.mainLineRef();
    if (!mainLine || snapshot.roles.upstream.empty()) {
        card.standing->setText(mainLine ? tr("%1 · the main line").arg(toText(mainLine->shortName)) : QString());
        return;
    }
    if (!m_session->drift())
        return;
    const MainLines& lines = m_session->mainLines();
    card.standing->setText(against(lines.clone, toText(mainLine->branch)));
    const bool forkLags = lines.fork && lines.fork->behind > 0 && !snapshot.roles.oneForBoth();
    if ((lines.clone && (lines.clone->behind > 0 || lines.clone->ahead > 0)) || forkLags) {
        card.action->setText(tr("Bring up to date"));
        card.act = [this] { Q_EMIT bringUpToDateRequested(); };
    }
}

void PlacesStrip::offerDrops(const DragSource& source)
{
    const SnapshotPtr snapshot = m_session->snapshot();
    const Ref* main = snapshot ? snapshot->mainLineRef() : nullptr;
    if (!main)
        return;
    const Ref* branch = source.branch.empty() ? nullptr : snapshot->findRef(source.branch);
    const auto offer = [&](DropSpot* spot, const Ref* ref, const QString& without) {
        if (!ref) {
            spot->offer(source, {}, {false, without});
            return;
        }
        const DropTarget target{ref->tip, ref->name, toText(ref->shortName)};
        spot->offer(source, target, answerDrop(*snapshot, source, target));
    };
    for (const Place place : {Place::Upstream, Place::Fork, Place::Clone}) {
        PlaceCard& at = m_cards[std::size_t(place)];
        const Ref* mainHere = nullptr;
        const Ref* copyHere = nullptr;
        if (place == Place::Clone) {
            mainHere = snapshot->findRef(branchRef(main->branch));
        } else {
            mainHere =
                place == Place::Upstream ? snapshot->upstreamCopy(main->branch) : snapshot->forkCopy(main->branch);
            if (branch && branch->branch != main->branch)
                copyHere = place == Place::Upstream ? snapshot->upstreamCopy(branch->branch)
                                                    : snapshot->forkCopy(branch->branch);
        }
        if (place == Place::Fork && snapshot->roles.oneForBoth())
            mainHere = copyHere = nullptr;
        QRect room = at.card->rect().adjusted(3, 3, -3, -3);
        if (copyHere) {
            const QRect right(room.left() + room.width() / 2, room.top(), room.width() - room.width() / 2,
                              room.height());
            room.setWidth(room.width() / 2);
            at.copySpot->setGeometry(right);
            offer(at.copySpot, copyHere, {});
        }
        at.mainSpot->setGeometry(room);
        static constexpr std::array none{QT_TR_NOOP("Upstream has no %1 to stand on"),
                                         QT_TR_NOOP("The fork has no %1 to stand on"),
                                         QT_TR_NOOP("The clone has no %1 to stand on")};
        offer(at.mainSpot, mainHere, tr(none[std::size_t(place)]).arg(toText(main->branch)));
    }
}

void PlacesStrip::withdrawDrops()
{
    for (PlaceCard& at : m_cards) {
        at.mainSpot->withdraw();
        at.copySpot->withdraw();
    }
}

QString PlacesStrip::standing(Place place) const { return m_cards[std::size_t(place)].standing->fullText(); }
QString PlacesStrip::action(Place place) const
{
    const PlaceCard& at = m_cards[std::size_t(place)];
    return at.act ? at.action->text() : QString();
}

} // namespace espalier
