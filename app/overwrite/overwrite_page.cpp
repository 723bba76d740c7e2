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

namespace {

std::size_t replacedBy(const OverwriteCheck& check)
{
    return check.pairs.size() + check.removed.size() + check.foreign.size();
}

QString meaningOf(const OverwriteCheck& check)
{
    if (check.upToDate)
        return OverwritePage::tr("The fork already has this branch as it is here.");
    if (check.remoteTip.isZero())
        return OverwritePage::tr("The fork has no branch of this name. A push creates it and replaces nothing.");
    if (check.fastForward)
        return OverwritePage::tr("The fork's branch is below yours: a plain push adds to it and replaces nothing.");
    return OverwritePage::tr("The fork's branch stands at %1, yours at %2. A plain push would be refused; a forced "
                             "update replaces %3. It goes through only while the fork still stands at %1.")
        .arg(toText(check.remoteTip.brief()), toText(check.localTip.brief()),
             counted(replacedBy(check), "commit", "commits"));
}

QString writtenByOthers(const OverwriteCheck& check)
{
    const std::vector<CommitSummary> others = othersOf(check.pairs);
    if (others.empty())
        return {};
    const QString people = toText(authorsOf(others));
    return QLatin1Char(' ') + (others.size() == check.pairs.size()
                                   ? OverwritePage::tr("All were written by %1.").arg(people)
                                   : OverwritePage::tr("Of these, %1 written by %2.").arg(others.size()).arg(people));
}

PushRequest requestFor(const OverwriteCheck& check)
{
    PushRequest request;
    request.branch = check.branch;
    request.remote = check.remote;
    if (!check.fastForward)
        request.expect = check.remoteTip;
    return request;
}

} // namespace

struct OverwritePage::Private {
    OverwritePage* page;
    Session* session;
    std::vector<OverwriteCheck> checks; // one at least; the branch that was asked about first
    std::vector<QCheckBox*> chosen;     // beside the checks, where there are several; null: nothing to push
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

    bool isSeveral() const { return checks.size() > 1; }
    bool isChosen(std::size_t number) const
    {
        return !checks[number].upToDate && (!isSeveral() || (chosen[number] && chosen[number]->isChecked()));
    }
    // What would be pushed now.
    std::vector<const OverwriteCheck*> wanted() const
    {
        std::vector<const OverwriteCheck*> found;
        for (std::size_t i = 0; i < checks.size(); ++i)
            if (isChosen(i))
                found.push_back(&checks[i]);
        return found;
    }
    std::vector<CheckedCommit> foreign() const
    {
        std::vector<CheckedCommit> all;
        for (const OverwriteCheck* check : wanted())
            all.insert(all.end(), check->foreign.begin(), check->foreign.end());
        return all;
    }

    void build();
    void fill();
    void fillOne(const OverwriteCheck& check);
    void choose(std::size_t number);
    void checkAgain();
    void askForPush();
    CheckTable* section(const QString& heading, const QString& meaning, const QStringList& columns, int subject,
                        bool loud);
    void buildActions(QVBoxLayout* column);
    void addCommits(const std::vector<CheckedCommit>& commits, const QString& heading, const QString& meaning,
                    bool loud);
    void update();
    void updateButton();
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
    QObject::connect(again, &QPushButton::clicked, page, [this] { checkAgain(); });
    QObject::connect(push, &QPushButton::clicked, page, [this] { askForPush(); });
}

void OverwritePage::Private::checkAgain()
{
    if (!session)
        return;
    std::vector<std::string> branches;
    for (const OverwriteCheck& check : checks)
        branches.push_back(check.branch);
    session->checkOverwrite(branches, [this](const Result<std::vector<OverwriteCheck>>& fresh) {
        if (fresh)
            page->showFor(*fresh);
        else
            page->showRefused(toText(fresh.error().line()));
    });
}

void OverwritePage::Private::askForPush()
{
    std::vector<PushRequest> requests;
    for (const OverwriteCheck* check : wanted())
        requests.push_back(requestFor(*check));
    push->setEnabled(false);
    for (const PushRequest& request : requests)
        Q_EMIT page->pushRequested(request);
    if (session)
        session->push(requests, [this, branch = page->check().branch](const Result<std::vector<Pushed>>& pushed) {
            // Another branch's check may be shown by now.
            if (branch != page->check().branch)
                pushed ? void() : Q_EMIT session->failed(toText(pushed.error().line()));
            else if (pushed)
                page->showPushed(*pushed);
            else
                page->showRefused(toText(pushed.error().line()));
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

void OverwritePage::Private::fill()
{
    while (QLayoutItem* item = body->takeAt(0)) {
        delete item->widget();
        delete item;
    }
    chosen.assign(checks.size(), nullptr);
    for (std::size_t i = 0; i < checks.size(); ++i) {
        if (isSeveral())
            choose(i);
        fillOne(checks[i]);
    }
}

// A branch among several: its name, whether it goes along, and what that would do.
void OverwritePage::Private::choose(std::size_t number)
{
    const OverwriteCheck& check = checks[number];
    auto* card = new Card(bodyWidget);
    auto* inside = page::cardColumn(card);
    const QString name = toText(check.branch);
    if (check.upToDate) {
        auto* label = new PlainLabel(name, card);
        label->setFont(theme::sized(page->font(), 1.05, true));
        inside->addWidget(label);
    } else {
        auto* box = new QCheckBox(tr("Push %1").arg(toCaption(name)), card);
        box->setObjectName(QStringLiteral("choose-%1").arg(name));
        box->setToolTip(toToolTip(name));
        box->setFont(theme::sized(page->font(), 1.05, true));
        // What was never published is published by asking for it only.
        box->setChecked(number == 0 || !check.remoteTip.isZero());
        QObject::connect(box, &QCheckBox::toggled, page, [this] {
            understood->setChecked(false);
            update();
        });
        chosen[number] = box;
        inside->addWidget(box);
    }
    auto* text = new PlainLabel(meaningOf(check), card);
    text->setWrapped(true);
    inside->addWidget(text);
    body->addWidget(card);
}

void OverwritePage::Private::fillOne(const OverwriteCheck& check)
{
    // All that the check cautions against is said here, beside what it is about, and nowhere else.
    const bool one = check.foreign.size() == 1;
    const QString lost = counted(check.foreign.size(), "commit", "commits");
    const QString there = toText(check.remote + "/" + check.branch);
    addCommits(
        check.foreign,
        tr("Of others, without a counterpart, lost if overwritten: %1 by %2")
            .arg(lost, toText(authorsOf(check.foreign))),
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
                    tr("Each old commit on the fork has a counterpart in your branch.") + writtenByOthers(check),
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
    const std::vector<CheckedCommit> lost = foreign();
    understood->setVisible(!lost.empty() && !done);
    understood->setText(tr("&I have read that %1 by %2 will be lost from the fork")
                            .arg(counted(lost.size(), "commit", "commits"), toCaption(toText(authorsOf(lost)))));
    for (QCheckBox* box : chosen)
        if (box)
            box->setEnabled(!done && !refused);
    updateButton();
    push->setEnabled(!done && !refused && !wanted().empty() && (lost.empty() || understood->isChecked()));
    push->setDefault(true);
    // Red says that somebody else's work goes; replacing one's own old versions is what the page is for.
    push->setProperty("danger", !lost.empty());
    push->update();
}

void OverwritePage::Private::updateButton()
{
    const std::vector<const OverwriteCheck*> all = wanted();
    std::size_t replaced = 0, added = 0;
    for (const OverwriteCheck* check : all) {
        replaced += check->fastForward ? 0 : replacedBy(*check);
        added += check->added.size();
    }
    const bool onlyForwards = std::ranges::all_of(all, &OverwriteCheck::fastForward);
    if (done || all.empty())
        push->setText(tr("Nothing to push"));
    else if (all.size() > 1)
        push->setText(
            onlyForwards ? tr("P&ush %1 together").arg(counted(all.size(), "branch", "branches"))
                         : tr("Rep&lace %1 on the fork, %2 together")
                               .arg(counted(replaced, "commit", "commits"), counted(all.size(), "branch", "branches")));
    else if (onlyForwards)
        push->setText(all.front()->remoteTip.isZero() ? tr("Push the &new branch")
                                                      : tr("P&ush %1").arg(counted(added, "commit", "commits")));
    else
        push->setText(tr("Rep&lace %1 on the fork").arg(counted(replaced, "commit", "commits")));
}

OverwritePage::OverwritePage(Session* session, QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    d->page = this;
    d->session = session;
    d->checks.emplace_back();
    setAccessibleName(tr("Overwrite check"));
    d->build();
    d->update();
}

OverwritePage::~OverwritePage() = default;

const OverwriteCheck& OverwritePage::check() const { return d->checks.front(); }

void OverwritePage::showFor(const OverwriteCheck& check) { showFor(std::vector{check}); }

void OverwritePage::showFor(const std::vector<OverwriteCheck>& checks)
{
    d->checks = checks;
    // One push goes to one remote.
    std::erase_if(d->checks, [&](const OverwriteCheck& check) { return check.remote != checks.front().remote; });
    const std::size_t elsewhere = checks.size() - d->checks.size();
    d->done = d->refused = false;
    d->understood->setChecked(false);
    d->notice->clear();
    const QString first = toText(check().branch);
    if (d->isSeveral()) {
        d->head->setTitle(tr("Overwrite check: %1 and %2")
                              .arg(first, counted(d->checks.size() - 1, "other branch", "other branches")));
        d->head->setSentence(
            tr("These branches moved together. What is ticked is pushed in one step, each branch only while the fork "
               "stands where it is shown: all or none where the server offers that, else one by one.") +
            (elsewhere == 0 ? QString() : QLatin1Char(' ') + tr("What goes to another remote is pushed by itself.")));
    } else {
        d->head->setTitle(tr("Overwrite check: %1").arg(first));
        d->head->setSentence(meaningOf(check()));
    }
    d->fill();
    d->update();
    (d->push->isEnabled() ? d->push : d->close)->setFocus();
}

void OverwritePage::showPushed(const Pushed& pushed) { showPushed(std::vector{pushed}); }

void OverwritePage::showPushed(const std::vector<Pushed>& all)
{
    d->done = true;
    const Pushed& pushed = all.front();
    const bool forced = std::ranges::any_of(all, &Pushed::forced);
    const QString branch = toText(pushed.branch), tip = toText(pushed.now.brief());
    QString line;
    if (all.size() > 1)
        line = tr("Done: %1 on the fork stand as in the clone.").arg(counted(all.size(), "branch", "branches")) +
               (forced ? QLatin1Char(' ') + tr("The old tips are kept; the logbook takes them back.") : QString());
    else if (forced)
        line = tr("Done: the fork's %1 went from %2 to %3. The old tip is kept; the logbook takes it back.")
                   .arg(branch, toText(pushed.old.brief()), tip);
    else
        line = tr("Done: the fork's %1 is at %2.").arg(branch, tip);
    d->notice->say(NoticeBar::Good, line);
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
