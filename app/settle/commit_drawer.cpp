// SPDX-License-Identifier: MIT
#include "app/settle/commit_drawer.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/text_codec.h"
#include "app/settle/text_pane.h"
#include "app/support/page.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QEvent>
#include <QHeaderView>
#include <QToolButton>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

CommitDrawer::CommitDrawer(QWidget* parent)
    : QWidget(parent)
    , m_handle(new QToolButton(this))
    , m_list(new QTreeWidget(this))
    , m_words(new PlainLabel(this))
    , m_pane(new TextPane(this))
{
    const int space = theme::gap(this);
    m_handle->setObjectName(QStringLiteral("commitsHandle"));
    m_handle->setCheckable(true);
    m_handle->setArrowType(Qt::RightArrow);
    m_handle->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
    m_handle->setAutoRaise(true);
    m_handle->setProperty("plain", true);
    m_handle->setToolTip(tr("Alt+9: the commits that changed these lines, and what each changed in this file"));
    auto* row = new QHBoxLayout(this);
    row->setContentsMargins(0, 0, 0, 0);
    row->setSpacing(space);
    m_list->setObjectName(QStringLiteral("hunkCommits"));
    m_list->setColumnCount(3);
    m_list->setHeaderLabels({tr("Commit"), tr("Author"), tr("Side")});
    m_list->setRootIsDecorated(false);
    m_list->setFrameShape(QFrame::NoFrame);
    m_list->setAccessibleName(tr("Commits that changed these lines"));
    m_list->header()->setStretchLastSection(false);
    m_list->header()->setSectionResizeMode(0, QHeaderView::Stretch);
    m_list->header()->setSectionResizeMode(1, QHeaderView::ResizeToContents);
    m_list->header()->setSectionResizeMode(2, QHeaderView::ResizeToContents);
    row->addWidget(m_list, 1);
    auto* right = new QVBoxLayout;
    right->setSpacing(space / 2);
    page::quieten(m_words);
    m_pane->setReadOnly(true);
    m_pane->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    m_pane->setTabChangesFocus(true);
    m_pane->setHorizontalScrollBarPolicy(Qt::ScrollBarAsNeeded);
    m_pane->setAccessibleName(tr("What the chosen commit changed in this file"));
    right->addWidget(m_words);
    right->addWidget(m_pane, 1);
    row->addLayout(right, 1);
    // Eleven lines where there is room for them; in a small window, or with a large font, the texts above need it more.
    setMinimumHeight(fontMetrics().height() * 5);
    setMaximumHeight(fontMetrics().height() * 11);
    hide();
    connect(m_handle, &QToolButton::toggled, this, [this](bool open) {
        setVisible(open);
        m_handle->setArrowType(open ? Qt::DownArrow : Qt::RightArrow);
        if (open)
            ask();
        Q_EMIT opened(open);
    });
    connect(m_list, &QTreeWidget::currentItemChanged, this, [this] { ask(); });
    showCommits(nullptr, {});
}

bool CommitDrawer::isOpen() const { return m_handle->isChecked(); }

void CommitDrawer::setOpen(bool open)
{
    m_handle->setChecked(open);
    if (open)
        m_list->setFocus(Qt::OtherFocusReason);
}

void CommitDrawer::showCommits(const HunkCommits* who, const QString& file)
{
    m_file = file;
    std::vector<Oid> commits;
    std::vector<std::pair<const LineCommit*, QString>> rows;
    const auto add = [&](const LineCommit& commit, const QString& side) {
        commits.push_back(commit.id);
        rows.emplace_back(&commit, side);
    };
    if (who) {
        for (const LineCommit& commit : who->newBase)
            add(commit, tr("new base"));
        if (!who->own.id.isZero())
            add(who->own, tr("your commit"));
        for (const LineCommit& commit : who->topic)
            add(commit, tr("your branch, before"));
    }
    m_handle->setText(who ? tr("Commits that changed these lines (%1)").arg(rows.size())
                          : tr("Commits that changed these lines"));
    if (commits == m_commits && m_list->topLevelItemCount() == int(commits.size()))
        return;
    m_commits = std::move(commits);
    {
        const QSignalBlocker quiet(m_list);
        m_list->clear();
        for (const auto& [commit, side] : rows) {
            const QString subject = tr("%1 %2").arg(toText(commit->id.brief()), toText(commit->subject));
            auto* item = new QTreeWidgetItem(m_list, {subject, toText(commit->author), side});
            item->setToolTip(
                0, toToolTip(tr("%1 (%2, %3)").arg(subject, toText(commit->author), relativeTime(commit->when))));
        }
        if (m_list->topLevelItemCount() > 0)
            m_list->setCurrentItem(m_list->topLevelItem(0));
    }
    m_asked = Oid();
    say({});
    ask();
}

void CommitDrawer::ask()
{
    const int row = m_list->indexOfTopLevelItem(m_list->currentItem());
    if (!isOpen() || row < 0 || m_commits[std::size_t(row)] == m_asked)
        return;
    m_asked = m_commits[std::size_t(row)];
    say({});
    Q_EMIT changeWanted(m_asked);
}

void CommitDrawer::say(const QString& words)
{
    m_words->setText(words);
    m_pane->setRows({PaneRow{QString(), 0, true, ChangedLine::Same}});
}

void CommitDrawer::showTrouble(const Oid& of, const QString& line)
{
    if (of == m_asked)
        say(line);
}

void CommitDrawer::showChange(const Oid& of, const CommitChange& change)
{
    if (of != m_asked)
        return;
    const QString others = change.otherFiles == 0
                               ? tr("nothing else")
                               : tr("%1 besides").arg(toText(counted(change.otherFiles, "other file", "other files")));
    if (change.rows.empty()) {
        say(tr("%1; it changes %2.").arg(toText(change.words), others));
        return;
    }
    const QString path = toText(change.path);
    m_words->setText(
        change.earlierPath.empty()
            ? tr("In %1; it changes %2.").arg(path, others)
            : tr("In %1, which it renames from %2; it changes %3.").arg(path, toText(change.earlierPath), others));
    std::string all;
    for (const ChangeRow& row : change.rows)
        all += row.text + '\n';
    const TextCodec codec = TextCodec::forTexts({all});
    std::vector<PaneRow> rows;
    std::vector<int> numbers;
    for (const ChangeRow& row : change.rows) {
        rows.push_back({row.gap ? QStringLiteral("…") : codec.decodeLine(row.text), 0, row.gap, row.kind});
        numbers.push_back(row.number);
    }
    m_pane->setMaximumNumber(*std::ranges::max_element(numbers));
    m_pane->setRows(rows);
    m_pane->setNumbers(std::move(numbers));
    m_pane->highlighter()->setFile(m_file, palette());
    m_pane->moveCursor(QTextCursor::Start);
}

void CommitDrawer::changeEvent(QEvent* event)
{
    QWidget::changeEvent(event);
    if (event->type() == QEvent::PaletteChange)
        m_pane->highlighter()->setFile(m_file, palette());
}

} // namespace espalier
