// SPDX-License-Identifier: MIT
#include "app/drift/drift_model.h"

#include "app/support/text.h"
#include "core/git/text.h"
#include "core/lanes/landmarks.h"

#include <QDateTime>

#include <array>

namespace espalier {

namespace {

enum Group { Yours, Landed_, OnlyFork, OnlyUpstream, Stale, groupCount };

QString groupTitle(Group group)
{
    switch (group) {
    case Yours:
        return QObject::tr("Your branches");
    case Landed_:
        return QObject::tr("Landed, can be cleaned up");
    case OnlyFork:
        return QObject::tr("Only on the fork");
    case OnlyUpstream:
        return QObject::tr("Only upstream");
    default:
        return QObject::tr("Untouched for half a year");
    }
}

// By letters, and by value where both have a number: topic/9 before topic/10.
bool nameBefore(std::string_view a, std::string_view b)
{
    const auto isDigit = [](char c) { return c >= '0' && c <= '9'; };
    std::size_t i = 0, j = 0;
    while (i < a.size() && j < b.size()) {
        if (!isDigit(a[i]) || !isDigit(b[j])) {
            if (a[i] != b[j])
                return static_cast<unsigned char>(a[i]) < static_cast<unsigned char>(b[j]);
            ++i, ++j;
            continue;
        }
        const auto number = [&](std::string_view text, std::size_t& at) {
            while (at < text.size() && text[at] == '0')
                ++at;
            const std::size_t start = at;
            while (at < text.size() && isDigit(text[at]))
                ++at;
            return text.substr(start, at - start);
        };
        const std::string_view one = number(a, i), two = number(b, j);
        if (one.size() != two.size())
            return one.size() < two.size();
        if (one != two)
            return one < two;
    }
    return std::tuple(a.size() - i, a) < std::tuple(b.size() - j, b);
}

QString words(std::size_t number, const char* one, const char* many) { return toText(counted(number, one, many)); }

} // namespace

DriftModel::DriftModel(QObject* parent) : QAbstractListModel(parent)
{
    m_regroup.setSingleShot(true);
    m_regroup.setInterval(700);
    connect(&m_regroup, &QTimer::timeout, this, &DriftModel::reload);
}

void DriftModel::setSession(const Session* session) { m_session = session; }

void DriftModel::reload()
{
    m_regroup.stop();
    beginResetModel();
    m_rows.clear();
    m_index.clear();
    m_maxAhead = m_maxBehind = 0;
    std::array<std::vector<DriftRow>, groupCount> groups;
    if (m_session && m_session->drift()) {
        const Drift& drift = *m_session->drift();
        const Snapshot& snapshot = *drift.snapshot;
        // Half a year behind the main line, as in the folded graph: what is old by the clock in a project at rest is not.
        const Ref* main = snapshot.mainLineRef();
        const std::int64_t fresh =
            (main ? snapshot.history.time(main->row) : QDateTime::currentSecsSinceEpoch()) - staleSeconds;
        for (const BranchDrift& branch : drift.branches) {
            DriftRow row = describe(branch);
            const Ref& ref = snapshot.refs[std::size_t(branch.ref)];
            Group group = Yours;
            if (row.landed && branch.ahead > 0 && ref.kind == RefKind::Branch)
                group = Landed_;
            else if (ref.row != noRow && snapshot.history.time(ref.row) < fresh && !row.checkedOut &&
                     branch.ref != snapshot.mainLine)
                group = Stale;
            else if (ref.kind != RefKind::Branch)
                group = ref.place == Place::Fork ? OnlyFork : OnlyUpstream;
            groups[group].push_back(std::move(row));
        }
    }
    for (int group = 0; group < groupCount; ++group) {
        if (groups[std::size_t(group)].empty())
            continue;
        if (group != Stale)
            for (const DriftRow& row : groups[std::size_t(group)]) {
                m_maxAhead = std::max(m_maxAhead, row.ahead);
                m_maxBehind = std::max(m_maxBehind, row.behind);
            }
        std::ranges::stable_sort(groups[std::size_t(group)], [](const DriftRow& a, const DriftRow& b) {
            const std::tuple first(!a.checkedOut, a.ahead == 0), second(!b.checkedOut, b.ahead == 0);
            return first == second ? nameBefore(a.ref, b.ref) : first < second;
        });
        DriftRow heading;
        heading.heading = true;
        heading.text = groupTitle(Group(group));
        m_rows.push_back(std::move(heading));
        std::ranges::move(groups[std::size_t(group)], std::back_inserter(m_rows));
    }
    for (std::size_t at = 0; at < m_rows.size(); ++at) {
        const std::string& name = m_rows[at].ref;
        if (m_rows[at].heading)
            continue;
        m_index.emplace(name, int(at));
        if (!std::ranges::all_of(name, [](char c) { return c > ' ' && c < 127; }))
            m_index.emplace(toBytes(toText(name)), int(at));
    }
    endResetModel();
}

DriftRow DriftModel::describe(const BranchDrift& branch) const
{
    const Snapshot& snapshot = *m_session->snapshot();
    const Ref& ref = snapshot.refs[std::size_t(branch.ref)];
    DriftRow row;
    row.text = toText(ref.kind == RefKind::Branch ? ref.branch : ref.shortName);
    row.ref = ref.name;
    row.refIndex = branch.ref;
    row.ahead = branch.ahead;
    row.behind = branch.behind;
    row.place = ref.place.value_or(Place::Clone);
    row.checkedOut = ref.name == snapshot.worktree.headBranch;
    row.changes = changesOf(row);
    switch (branch.fork) {
    case ForkState::None:
        if (ref.kind == RefKind::Branch && branch.ahead > 0)
            row.fork = tr("not on the fork");
        break;
    case ForkState::Same:
        row.fork = tr("fork: same");
        break;
    case ForkState::Behind:
        row.fork = tr("fork: %1 behind").arg(branch.forkBehind);
        break;
    case ForkState::Ahead:
        row.fork = tr("fork: %1 ahead").arg(branch.forkAhead);
        row.forkTone = DriftTone::Warning;
        break;
    case ForkState::OlderVersion:
    case ForkState::Foreign:
        describeReplacement(*branch.replacement, row);
        break;
    }
    if (branch.standsOn >= 0 && branch.fork == ForkState::None)
        row.fork = tr("stands on %1").arg(toText(snapshot.refs[std::size_t(branch.standsOn)].branch));
    describeForecast(row);
    return row;
}

void DriftModel::describeReplacement(const Replacement& replacement, DriftRow& row)
{
    row.replacement = toText(replacement.line());
    if (replacement.alone() == 0) {
        row.fork = tr("fork: older version");
        return;
    }
    row.fork = tr("fork: %1 without counterpart").arg(replacement.alone());
    row.forkTone = replacement.foreign.empty() ? DriftTone::Warning : DriftTone::Loss;
}

void DriftModel::describeForecast(DriftRow& row) const
{
    tellForecast(row);
    // What is not known yet, or was true of what stood here before, is not shown as if it were so.
    const auto& refs = m_session->snapshot()->refs;
    const auto at = std::size_t(row.refIndex);
    row.forecastOld = at < refs.size() && Session::isForecast(refs[at]) && m_session->isForecastOld(row.ref);
    if (!row.forecastOld)
        return;
    row.forecast = row.forecast.isEmpty() ? tr("not computed yet") : QStringLiteral("… ") + row.forecast;
    row.forecastTone = DriftTone::Quiet;
}

void DriftModel::tellForecast(DriftRow& row) const
{
    const Forecast forecast = m_session->forecast(row.ref);
    row.landed = false;
    row.forecastTone = DriftTone::Plain;
    switch (forecast.kind) {
    case Forecast::Clean:
        row.forecast = forecast.landed > 0 ? tr("✓ lands clean, %1 landed").arg(forecast.landed) : tr("✓ lands clean");
        break;
    case Forecast::Conflicts:
        row.forecast =
            tr("▲ %1 in %2").arg(words(forecast.hunks, "hunk", "hunks"), words(forecast.files, "file", "files"));
        row.forecastTone = DriftTone::Warning;
        break;
    case Forecast::FastForward:
        row.forecast = tr("✓ fast-forward");
        break;
    case Forecast::Landed:
        row.forecast = forecast.landedAs ? tr("landed as %1").arg(toText(forecast.landedAs->brief())) : tr("landed");
        row.landed = row.ahead > 0;
        row.forecastTone = DriftTone::Quiet;
        break;
    case Forecast::Nothing:
        row.forecast = tr("up to date");
        row.forecastTone = DriftTone::Quiet;
        break;
    default:
        row.forecast = forecast.reason.empty() ? QString() : tr("no forecast");
        row.forecastTone = DriftTone::Quiet;
    }
}

void DriftModel::updateForecast(const QString& ref)
{
    const int at = indexOf(toBytes(ref));
    if (at < 0)
        return;
    DriftRow& row = m_rows[std::size_t(at)];
    const bool before = row.landed;
    describeForecast(row);
    if (row.landed != before && !m_regroup.isActive())
        m_regroup.start(); // it belongs to another group now
    Q_EMIT forecastsArrived();
}

QString DriftModel::changesOf(const DriftRow& row) const
{
    const std::optional<LocalChanges>& changes = m_session->localChanges();
    return row.checkedOut && changes ? toText(changes->words()) : QString();
}

void DriftModel::updateChanges()
{
    for (std::size_t at = 0; at < m_rows.size(); ++at) {
        DriftRow& row = m_rows[at];
        if (!row.checkedOut || row.changes == changesOf(row))
            continue;
        row.changes = changesOf(row);
        const QModelIndex index = this->index(int(at));
        Q_EMIT dataChanged(index, index, {Qt::DisplayRole, Qt::AccessibleTextRole, Qt::SizeHintRole});
    }
}

int DriftModel::indexOf(const std::string& ref) const
{
    const auto found = m_index.find(ref);
    return found == m_index.end() ? -1 : found->second;
}

int DriftModel::branchCount() const
{
    return int(std::ranges::count_if(m_rows, [](const DriftRow& row) { return !row.heading; }));
}

DragSource DriftModel::sourceOf(int index) const
{
    if (index < 0 || index >= int(m_rows.size()) || row(index).heading || !m_session->snapshot())
        return {};
    const Ref& ref = m_session->snapshot()->refs[std::size_t(row(index).refIndex)];
    if (ref.kind != RefKind::Branch)
        return {};
    return {.branch = ref.name, .below = {}, .tip = ref.tip, .wholeBranch = true, .label = toText(ref.branch)};
}

DropTarget DriftModel::targetOf(int index) const
{
    if (index < 0 || index >= int(m_rows.size()) || row(index).heading || !m_session->snapshot())
        return {};
    const Ref& ref = m_session->snapshot()->refs[std::size_t(row(index).refIndex)];
    return {.commit = ref.tip, .refName = ref.name, .label = toText(ref.shortName)};
}

DropAnswer DriftModel::answer(const DragSource& source, const DropTarget& target) const
{
    return m_session->snapshot() ? answerDrop(*m_session->snapshot(), source, target) : DropAnswer{};
}

int DriftModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : int(m_rows.size()); }

QVariant DriftModel::data(const QModelIndex& index, int role) const
{
    if (!index.isValid())
        return {};
    const DriftRow& row = this->row(index.row());
    if (role == Qt::DisplayRole)
        return row.text;
    if (role == Qt::AccessibleTextRole) {
        if (row.heading)
            return row.text;
        QString text =
            tr("%1, %2 behind, %3 ahead").arg(row.text, QString::number(row.behind), QString::number(row.ahead));
        if (row.checkedOut)
            text += tr(", checked out");
        if (!row.changes.isEmpty())
            text += tr(", local changes: %1").arg(row.changes);
        for (const QString& part : {row.forecast, row.fork, row.replacement})
            if (!part.isEmpty())
                text += QStringLiteral(", ") + part;
        if (row.forecastOld)
            text += tr(", being forecast again");
        return text;
    }
    if (role == Qt::ToolTipRole && !row.heading)
        return toToolTip(row.replacement.isEmpty()
                             ? row.text
                             : row.text + QLatin1Char('\n') + tr("If it is pushed: %1").arg(row.replacement));
    return {};
}

Qt::ItemFlags DriftModel::flags(const QModelIndex& index) const
{
    if (!index.isValid())
        return Qt::NoItemFlags;
    const DriftRow& row = this->row(index.row());
    if (row.heading)
        return Qt::ItemIsEnabled;
    Qt::ItemFlags flags = Qt::ItemIsEnabled | Qt::ItemIsSelectable | Qt::ItemIsDropEnabled | Qt::ItemNeverHasChildren;
    if (row.place == Place::Clone)
        flags |= Qt::ItemIsDragEnabled;
    return flags;
}

QStringList DriftModel::mimeTypes() const { return {QLatin1String(dragMimeType)}; }

QMimeData* DriftModel::mimeData(const QModelIndexList& indexes) const
{
    const DragSource source = indexes.isEmpty() ? DragSource{} : sourceOf(indexes.front().row());
    return source.label.isEmpty() ? nullptr : encodeDrag(source).release();
}

bool DriftModel::canDropMimeData(const QMimeData* data, Qt::DropAction, int, int, const QModelIndex& parent) const
{
    const auto source = decodeDrag(data);
    return source && parent.isValid() && !row(parent.row()).heading && row(parent.row()).ref != source->branch;
}

bool DriftModel::dropMimeData(const QMimeData* data, Qt::DropAction action, int row, int column,
                              const QModelIndex& parent)
{
    if (!canDropMimeData(data, action, row, column, parent))
        return false;
    Q_EMIT dropped(*decodeDrag(data), targetOf(parent.row()));
    return true;
}

} // namespace espalier
