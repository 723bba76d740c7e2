// SPDX-License-Identifier: MIT
#include "app/history/version_pairs.h"

#include "app/history/diff_view.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"

#include <QTreeWidget>

namespace espalier {

namespace {

constexpr int pairRole = Qt::UserRole + 1; // the files of a commit use UserRole

enum class Outcome { Same, Changed, LeftOut, New };

Outcome outcomeOf(const VersionPair& pair)
{
    if (!pair.now)
        return Outcome::LeftOut;
    if (!pair.before)
        return Outcome::New;
    return pair.sameChange && pair.sameMessage ? Outcome::Same : Outcome::Changed;
}

QString wordOf(const VersionPair& pair)
{
    switch (outcomeOf(pair)) {
    case Outcome::Same:
        return VersionPairs::tr("the same change");
    case Outcome::Changed:
        return pair.sameChange ? VersionPairs::tr("reworded") : VersionPairs::tr("changed");
    case Outcome::LeftOut:
        return VersionPairs::tr("left out");
    case Outcome::New:
        break;
    }
    return VersionPairs::tr("new");
}

} // namespace

VersionPairs::VersionPairs(QTreeWidget* list, DiffView* diff, QObject* parent)
    : QObject(parent), m_list(list), m_diff(diff)
{
    connect(list, &QTreeWidget::currentItemChanged, this, [this](QTreeWidgetItem* item) {
        if (item && item->data(0, pairRole).isValid())
            choose(item->data(0, pairRole).toInt());
    });
}

QString VersionPairs::summary(const std::vector<VersionPair>& pairs)
{
    std::array<int, 4> counts{};
    for (const VersionPair& pair : pairs)
        ++counts[std::size_t(outcomeOf(pair))];
    return tr("%1 the same, %2 changed, %3 left out, %4 new")
        .arg(counts[0])
        .arg(counts[1])
        .arg(counts[2])
        .arg(counts[3]);
}

void VersionPairs::show(const std::string& repository, std::vector<VersionPair> pairs)
{
    m_repository = repository;
    m_pairs = std::move(pairs);
    const QSignalBlocker quiet(m_list);
    m_list->clear();
    QList<QTreeWidgetItem*> items;
    for (std::size_t at = 0; at < m_pairs.size(); ++at) {
        const VersionPair& pair = m_pairs[at];
        const Outcome outcome = outcomeOf(pair);
        auto* item = new QTreeWidgetItem;
        item->setText(0, toText(pair.now ? pair.now->subject : pair.before->subject));
        item->setText(1, wordOf(pair));
        item->setText(2, pair.before ? QString::fromStdString(pair.before->id.brief()) : QStringLiteral("\u2013"));
        item->setText(3, pair.now ? QString::fromStdString(pair.now->id.brief()) : QStringLiteral("\u2013"));
        item->setData(0, pairRole, int(at));
        theme::keepColour(m_list, item, 1,
                          outcome == Outcome::Same      ? theme::quiet
                          : outcome == Outcome::LeftOut ? theme::danger
                          : outcome == Outcome::New     ? theme::success
                                                        : theme::warning);
        items << item;
    }
    m_list->addTopLevelItems(items);
    if (items.isEmpty()) {
        m_diff->showNote(tr("The two versions hold the same commits."));
        Q_EMIT loaded();
        return;
    }
    // The first that differs is what one looks for.
    const auto first =
        std::ranges::find_if(m_pairs, [](const VersionPair& pair) { return outcomeOf(pair) != Outcome::Same; });
    const int chosen = first == m_pairs.end() ? 0 : int(first - m_pairs.begin());
    m_list->setCurrentItem(items[chosen]);
    choose(chosen);
}

void VersionPairs::choose(int at)
{
    if (m_work)
        m_work->cancel();
    const int asked = ++m_asked;
    if (at < 0 || std::size_t(at) >= m_pairs.size())
        return;
    const VersionPair& pair = m_pairs[std::size_t(at)];
    const auto job = [path = m_repository, before = pair.before ? pair.before->id : Oid{},
                      now = pair.now ? pair.now->id : Oid{}](const Progress& progress) -> Result<FileChange> {
        const auto repository = Repository::open(path);
        if (!repository)
            return std::unexpected(repository.error());
        return differenceOfChanges(*repository, before, now, progress);
    };
    const auto then = [this, asked](const Result<FileChange>& difference) {
        if (asked != m_asked)
            return;
        if (!difference)
            Q_EMIT failed(QString::fromStdString(difference.error().line()));
        else if (difference->hunks.empty())
            m_diff->showNote(tr("Message and changed lines are the same in both versions."));
        else
            m_diff->show(*difference);
        Q_EMIT loaded();
    };
    m_work = startWork<FileChange>(this, tr("Comparing versions"), job, then);
}

} // namespace espalier
