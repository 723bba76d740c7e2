// SPDX-License-Identifier: MIT
#include "app/overwrite/overwrite_page.h"

#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QHeaderView>
#include <QPushButton>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

namespace {

// A table with more rows scrolls by itself.
constexpr int mostRows = 12;

QString counted(std::size_t number, const char* one, const char* many)
{
    return toText(espalier::counted(number, one, many));
}

// One table of commits; chosen rows are told by id.
class CheckTable : public QTreeWidget {
  public:
    // `subject` is the column that takes the room that is left.
    CheckTable(const QStringList& columns, int subject, QWidget* parent) : QTreeWidget(parent), m_subject(subject)
    {
        setColumnCount(int(columns.size()));
        setHeaderLabels(columns);
        setRootIsDecorated(false);
        setUniformRowHeights(true);
        setAllColumnsShowFocus(true);
        setFrameShape(QFrame::NoFrame);
        setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Fixed);
        header()->setStretchLastSection(false);
        header()->setSectionResizeMode(QHeaderView::ResizeToContents);
        header()->setSectionResizeMode(subject, QHeaderView::Stretch);
    }

    // `ids` of the texts, from the left, are commit ids.
    void add(const QStringList& texts, int ids, const Oid& id)
    {
        auto* item = new QTreeWidgetItem(this, texts);
        item->setData(0, Qt::UserRole, QByteArray::fromStdString(id.hex()));
        for (int i = 0; i < texts.size(); ++i) {
            item->setToolTip(i, toToolTip(texts[i]));
            if (i < ids)
                item->setFont(i, theme::monospace());
            else if (i != m_subject)
                theme::keepColour(this, item, i, theme::quiet);
        }
    }

  private:
    int m_subject;
};

} // namespace

struct OverwritePage::Private {
    OverwritePage* page;
    Session* session;
    OverwriteCheck check;
    PageHead* head = nullptr;
    NoticeBar* notice = nullptr;
    QVBoxLayout* body = nullptr;
    QWidget* bodyWidget = nullptr;
    QCheckBox* understood = nullptr;
    QPushButton* push = nullptr;
    QPushButton* again = nullptr;
    QPushButton* close = nullptr;
    bool done = false;
    bool refused = false; // by the remote: the check is old now

    std::size_t replaced() const { return check.pairs.size() + check.removed.size() + check.foreign.size(); }

    void build();
    void fill();
    CheckTable* section(const QString& heading, const QString& meaning, const QStringList& columns, int subject,
                        bool loud);
    void buildActions(QVBoxLayout* column);
    void addCommits(const std::vector<CheckedCommit>& commits, const QString& heading, const QString& meaning,
                    bool loud);
    QString foreignPeople() const;
    QString writtenByOthers() const;
    void update();
};

void OverwritePage::Private::build()
{
    QVBoxLayout* column = page::readableColumn(page);
    head = new PageHead(QString(), page);
    notice = new NoticeBar(page);
    auto* area = new FittingArea(page);
    area->setAccessibleName(tr("What the push would replace"));
    bodyWidget = area->widget();
    body = new QVBoxLayout(bodyWidget);
    body->setContentsMargins(0, 0, 0, 0);
    body->setSpacing(theme::gap(page));
    column->addWidget(head);
    column->addWidget(notice);
    column->addWidget(area, FittingArea::stretch);
    buildActions(column);
    column->addStretch(1);
}

void OverwritePage::Private::buildActions(QVBoxLayout* column)
{
    auto* card = new Card(page);
    auto* inside = page::cardColumn(card);
    understood = new QCheckBox(card);
    auto* row = new QHBoxLayout;
    push = new QPushButton(card);
    push->setObjectName(QStringLiteral("push"));
    again = new QPushButton(tr("Check &again"), card);
    again->setObjectName(QStringLiteral("checkAgain"));
    close = new QPushButton(tr("&Close"), card);
    close->setObjectName(QStringLiteral("close"));
    row->addWidget(push);
    row->addWidget(again);
    row->addWidget(close);
    row->addStretch(1);
    inside->addWidget(understood);
    inside->addLayout(row);
    column->addWidget(card);
    QObject::connect(understood, &QCheckBox::toggled, page, [this] { update(); });
    QObject::connect(close, &QPushButton::clicked, page, &OverwritePage::closed);
    QObject::connect(again, &QPushButton::clicked, page, [this] {
        if (session)
            session->checkOverwrite(check.branch, [this](const Result<OverwriteCheck>& fresh) {
                if (fresh)
                    page->showFor(*fresh);
                else
                    page->showRefused(toText(fresh.error().line()));
            });
    });
    QObject::connect(push, &QPushButton::clicked, page, [this] {
        PushRequest request;
        request.branch = check.branch;
        request.remote = check.remote;
        if (!check.fastForward)
            request.expect = check.remoteTip;
        push->setEnabled(false);
        Q_EMIT page->pushRequested(request);
        if (session)
            session->push(request, [this, branch = check.branch](const Result<Pushed>& pushed) {
                // Another branch's check may be shown by now.
                if (branch != check.branch)
                    pushed ? void() : Q_EMIT session->failed(toText(pushed.error().line()));
                else if (pushed)
                    page->showPushed(*pushed);
                else
                    page->showRefused(toText(pushed.error().line()));
            });
    });
}

CheckTable* OverwritePage::Private::section(const QString& heading, const QString& meaning, const QStringList& columns,
                                            int subject, bool loud)
{
    auto* card = new Card(bodyWidget);
    auto* column = page::tableColumn(card);
    column->setSpacing(theme::gap(page) / 2);
    auto* label = new PlainLabel(heading, card);
    label->setFont(theme::sized(page->font(), loud ? 1.2 : 1.05, true));
    auto* text = new PlainLabel(meaning, card);
    text->setWrapped(true);
    if (loud) {
        label->setWrapped(true); // names of people: none may be cut
        card->setAccent(theme::danger);
        theme::keepColour(label, QPalette::WindowText, theme::danger);
    }
    auto* table = new CheckTable(columns, subject, card);
    table->setAccessibleName(heading);
    QObject::connect(table, &QTreeWidget::itemActivated, page, [this](QTreeWidgetItem* item) {
        if (const auto id = Oid::parse(item->data(0, Qt::UserRole).toByteArray().toStdString()))
            Q_EMIT page->commitChosen(*id);
    });
    page::addToTable(column, label);
    page::addToTable(column, text);
    column->addSpacing(theme::gap(page) / 2);
    column->addWidget(table);
    body->addWidget(card);
    return table;
}

void OverwritePage::Private::addCommits(const std::vector<CheckedCommit>& commits, const QString& heading,
                                        const QString& meaning, bool loud)
{
    if (commits.empty())
        return;
    CheckTable* table = section(heading, meaning, {tr("Commit"), tr("Subject"), tr("Author"), tr("Written")}, 1, loud);
    for (const CheckedCommit& commit : commits)
        table->add(
            {toText(commit.id.brief()), toText(commit.subject), toText(commit.author), relativeTime(commit.authorTime)},
            1, commit.id);
    page::fitRows(table, mostRows);
}

QString OverwritePage::Private::foreignPeople() const { return toText(authorsOf(check.foreign)); }

QString OverwritePage::Private::writtenByOthers() const
{
    const std::vector<CommitSummary> others = othersOf(check.pairs);
    if (others.empty())
        return {};
    const QString people = toText(authorsOf(others));
    return QLatin1Char(' ') + (others.size() == check.pairs.size()
                                   ? tr("All were written by %1.").arg(people)
                                   : tr("Of these, %1 written by %2.").arg(others.size()).arg(people));
}

void OverwritePage::Private::fill()
{
    while (QLayoutItem* item = body->takeAt(0)) {
        delete item->widget();
        delete item;
    }
    // All that the check cautions against is said here, beside what it is about, and nowhere else.
    const bool one = check.foreign.size() == 1;
    const QString lost = counted(check.foreign.size(), "commit", "commits");
    const QString there = toText(check.remote + "/" + check.branch);
    addCommits(
        check.foreign, tr("Of others, without a counterpart, lost if overwritten: %1 by %2").arg(lost, foreignPeople()),
        one ? tr("It is on the fork and nowhere in your clone's branch. To keep it, carry it over from %1 onto your "
                 "branch first, or ask its author.")
                  .arg(there)
            : tr("They are on the fork and nowhere in your clone's branch. To keep them, carry them over from %1 onto "
                 "your branch first, or ask their authors.")
                  .arg(there),
        true);
    if (!check.pairs.empty()) {
        CheckTable* table =
            section(tr("Replaced by a new version"),
                    tr("Each old commit on the fork has a counterpart in your branch.") + writtenByOthers(),
                    {tr("On the fork"), tr("In your clone"), tr("What differs"), tr("Subject")}, 3, false);
        for (const CommitPair& pair : check.pairs)
            table->add({toText(pair.old.id.brief()), toText(pair.now.id.brief()),
                        pair.sameChange ? tr("same change, new ID") : tr("the change was edited"),
                        toText(pair.now.subject)},
                       2, pair.now.id);
        page::fitRows(table, mostRows);
    }
    addCommits(
        check.removed, tr("Yours, only on the fork"),
        tr("Your own commits that the clone's branch has not, perhaps pushed from another computer. The logbook keeps "
           "them."),
        false);
    addCommits(check.added, tr("New on the fork afterwards"), tr("Commits of your branch that the fork lacks."), false);
}

void OverwritePage::Private::update()
{
    const std::size_t foreign = check.foreign.size();
    understood->setVisible(foreign > 0 && !done);
    understood->setText(tr("&I have read that %1 by %2 will be lost from the fork")
                            .arg(counted(foreign, "commit", "commits"), toCaption(foreignPeople())));
    if (done || check.upToDate)
        push->setText(tr("Nothing to push"));
    else if (check.fastForward)
        push->setText(check.remoteTip.isZero() ? tr("Push the &new branch")
                                               : tr("P&ush %1").arg(counted(check.added.size(), "commit", "commits")));
    else
        push->setText(tr("Rep&lace %1 on the fork").arg(counted(replaced(), "commit", "commits")));
    push->setEnabled(!done && !refused && !check.upToDate && (foreign == 0 || understood->isChecked()));
    push->setDefault(true);
    // Red says that somebody else's work goes; replacing one's own old versions is what the page is for.
    push->setProperty("danger", foreign > 0);
    push->update();
}

OverwritePage::OverwritePage(Session* session, QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    d->page = this;
    d->session = session;
    setAccessibleName(tr("Overwrite check"));
    d->build();
    d->update();
}

OverwritePage::~OverwritePage() = default;

const OverwriteCheck& OverwritePage::check() const { return d->check; }

void OverwritePage::showFor(const OverwriteCheck& check)
{
    d->check = check;
    d->done = d->refused = false;
    d->understood->setChecked(false);
    d->notice->clear();
    d->head->setTitle(tr("Overwrite check: %1").arg(toText(check.branch)));
    QString meaning;
    if (check.upToDate)
        meaning = tr("The fork already has this branch as it is here.");
    else if (check.remoteTip.isZero())
        meaning = tr("The fork has no branch of this name. A push creates it and replaces nothing.");
    else if (check.fastForward)
        meaning = tr("The fork's branch is below yours: a plain push adds to it and replaces nothing.");
    else
        meaning =
            tr("The fork's branch stands at %1, yours at %2. A plain push would be refused; a forced update replaces "
               "%3. It goes through only while the fork still stands at %1.")
                .arg(toText(check.remoteTip.brief()), toText(check.localTip.brief()),
                     counted(d->replaced(), "commit", "commits"));
    d->head->setSentence(meaning);
    d->fill();
    d->update();
    (d->push->isEnabled() ? d->push : d->close)->setFocus();
}

void OverwritePage::showPushed(const Pushed& pushed)
{
    d->done = true;
    d->notice->say(NoticeBar::Good,
                   pushed.forced
                       ? tr("Done: the fork's %1 went from %2 to %3. The old tip is kept; the logbook takes it back.")
                             .arg(toText(pushed.branch), toText(pushed.old.brief()), toText(pushed.now.brief()))
                       : tr("Done: the fork's %1 is at %2.").arg(toText(pushed.branch), toText(pushed.now.brief())));
    d->update();
    d->close->setFocus();
}

void OverwritePage::showRefused(const QString& line)
{
    d->refused = true;
    d->understood->setChecked(false);
    d->notice->say(NoticeBar::Trouble, line + QLatin1Char(' ') + tr("Check again before you go on."));
    d->update();
    d->again->setFocus();
}

} // namespace espalier
