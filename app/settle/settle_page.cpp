// SPDX-License-Identifier: MIT
#include "app/settle/settle_page.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/text_pane.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QPushButton>
#include <QShortcut>
#include <QSplitter>
#include <QToolButton>
#include <QVBoxLayout>

namespace espalier {

namespace {

// What is read for one commit: its conflicts, and what was decided before for the same hunks.
struct CommitConflicts {
    std::size_t commit = 0;
    std::vector<ConflictText> files;
    std::vector<std::vector<std::optional<HunkDecision>>> recalled;
};

Result<CommitConflicts> readConflicts(const std::string& path, const DryRunPtr& run, std::size_t commit,
                                      const Progress& progress)
{
    const auto repository = Repository::open(path);
    if (!repository)
        return std::unexpected(repository.error());
    CommitConflicts read;
    read.commit = commit;
    for (std::size_t i = 0; i < run->commits[commit].conflicts.size(); ++i) {
        auto text = conflictText(*repository, *run, commit, i, progress);
        if (!text)
            return std::unexpected(text.error());
        std::vector<std::optional<HunkDecision>> recalled;
        for (const ConflictHunk& hunk : text->hunks)
            recalled.push_back(recall(*repository, hunk));
        read.files.push_back(std::move(*text));
        read.recalled.push_back(std::move(recalled));
    }
    return read;
}

// A button's own shortcut presses it for a tenth of a second before it clicks; what is typed meanwhile would go to the
// hunk that is being left. This one clicks at once.
void clicksAt(QPushButton* button, const QKeySequence& key)
{
    auto* shortcut = new QShortcut(key, button);
    QObject::connect(shortcut, &QShortcut::activated, button, [button] { button->click(); });
}

} // namespace

struct SettlePage::Private {
    SettlePage* page;
    Session* session;
    ReplayFlow* flow;
    CommitConflicts shown;
    int file = -1;
    int wantedHunk = -1;   // to go to once the conflicts have been read
    bool loading = false;

    PlainLabel* title = nullptr;
    PlainLabel* where = nullptr;
    NoticeBar* notice = nullptr;
    HunkList* list = nullptr;
    ConflictEditor* editor = nullptr;
    PlainLabel* explanation = nullptr;
    std::vector<QPushButton*> choices;
    QPushButton* undo = nullptr;
    QPushButton* redo = nullptr;
    QPushButton* previous = nullptr;
    QPushButton* next = nullptr;
    QPushButton* back = nullptr;
    QWidget* drawerCard = nullptr;
    QToolButton* drawerHandle = nullptr;
    TextPane* drawer = nullptr;
    QCheckBox* around = nullptr;
    QWidget* wholePath = nullptr;
    PlainLabel* wholePathText = nullptr;

    void build();
    QWidget* buildHead();
    QWidget* buildDecisions();
    QWidget* buildDrawer();
    void load(std::size_t commit);
    void showFile(int index, int hunk);
    void showHunk();
    void showState();
    void decide(Choice choice);
    void offerRecalled();
    void rememberNew(const FileSettlement& settlement);
    void revert(bool forward);
    void goUndecided(bool forward);
    FileSettlement settlementOf(std::size_t index) const;
    std::size_t undecidedHere() const;
    int hunk() const;
};

FileSettlement SettlePage::Private::settlementOf(std::size_t index) const
{
    const ConflictText& text = shown.files[index];
    const FileSettlement* kept = flow->settlements().find(text.key);
    const FileSettlement fresh = undecided(text);
    const bool fits = kept && kept->ancestor == fresh.ancestor && kept->newBase == fresh.newBase &&
                      kept->commit == fresh.commit && kept->hunks.size() == fresh.hunks.size();
    return fits ? *kept : fresh;
}

std::size_t SettlePage::Private::undecidedHere() const
{
    std::size_t count = 0;
    for (std::size_t i = 0; i < shown.files.size(); ++i) {
        const FileSettlement settlement = settlementOf(i);
        count += std::size_t(std::ranges::count(settlement.hunks, Choice::Undecided, &HunkDecision::choice));
    }
    return count;
}

int SettlePage::Private::hunk() const
{
    if (file < 0)
        return -1;
    return shown.files[std::size_t(file)].wholePath ? 0 : editor->currentHunk();
}

QWidget* SettlePage::Private::buildHead()
{
    const int space = theme::gap(page);
    auto* card = new Card(page);
    auto* row = new QHBoxLayout(card);
    row->setContentsMargins(space * 2, space * 3 / 2, space * 2, space * 3 / 2);
    auto* words = new QVBoxLayout;
    title = new PlainLabel(card);
    title->setFont(theme::sized(page->font(), 1.3, true));
    where = new PlainLabel(card);
    page::quieten(where);
    words->setSpacing(space / 2);
    words->addWidget(title);
    words->addWidget(where);
    undo = new QPushButton(tr("&Undo"), card);
    previous = new QPushButton(tr("Pre&vious undecided"), card);
    next = new QPushButton(card);
    back = new QPushButton(tr("&Close"), card);
    redo = new QPushButton(tr("Re&do"), card);
    undo->setObjectName(QStringLiteral("undo"));
    redo->setObjectName(QStringLiteral("redo"));
    next->setObjectName(QStringLiteral("nextUndecided"));
    previous->setObjectName(QStringLiteral("previousUndecided"));
    back->setObjectName(QStringLiteral("close"));
    clicksAt(next, Qt::Key_F8);
    clicksAt(previous, Qt::SHIFT | Qt::Key_F8);
    next->setToolTip(tr("F8"));
    previous->setToolTip(tr("Shift+F8"));
    back->setToolTip(tr("Back to the dry run; the decisions stay"));
    row->addLayout(words, 1);
    for (QPushButton* button : {undo, redo, previous, next, back})
        row->addWidget(button);
    const auto byKeys = [this](QKeySequence::StandardKey keys, QPushButton* button) {
        auto* shortcut = new QShortcut(keys, page, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
        QObject::connect(shortcut, &QShortcut::activated, button, [button] { button->click(); });
        button->setToolTip(QKeySequence(keys).toString(QKeySequence::NativeText));
    };
    byKeys(QKeySequence::Undo, undo);
    byKeys(QKeySequence::Redo, redo);
    QObject::connect(undo, &QPushButton::clicked, page, [this] { revert(false); });
    QObject::connect(redo, &QPushButton::clicked, page, [this] { revert(true); });
    QObject::connect(previous, &QPushButton::clicked, page, [this] { goUndecided(false); });
    QObject::connect(next, &QPushButton::clicked, page, [this] { goUndecided(true); });
    QObject::connect(back, &QPushButton::clicked, page, [this] {
        editor->flush();
        Q_EMIT page->closed();
    });
    return card;
}

QWidget* SettlePage::Private::buildDecisions()
{
    const int space = theme::gap(page);
    auto* card = new Card(page);
    auto* column = new QVBoxLayout(card);
    column->setContentsMargins(space * 2, space * 3 / 2, space * 2, space * 3 / 2);
    column->setSpacing(space);
    explanation = new PlainLabel(card);
    explanation->setWrapped(true);
    auto* row = new QHBoxLayout;
    const std::pair<QString, Choice> all[] = {{tr("Keep new base"), Choice::NewBase},
                                              {tr("Keep your commit"), Choice::YourCommit},
                                              {tr("New base, then yours"), Choice::NewBaseFirst},
                                              {tr("Yours, then new base"), Choice::YourCommitFirst}};
    int number = 0;
    for (const auto& [text, choice] : all) {
        auto* button = new QPushButton(text, card);
        clicksAt(button, Qt::ALT | Qt::Key(Qt::Key_1 + number));
        button->setToolTip(tr("Alt+%1").arg(++number));
        button->setObjectName(toText(choiceName(choice)));
        button->setEnabled(false); // until a hunk is shown
        QObject::connect(button, &QPushButton::clicked, page, [this, choice = choice] { decide(choice); });
        choices.push_back(button);
        row->addWidget(button);
    }
    // The two sides' answers have their panes' colours.
    for (const auto& [button, side] : {std::pair{choices[0], Place::Upstream}, {choices[1], Place::Fork}}) {
        QPalette colours = page->palette();
        colours.setColor(QPalette::Active, QPalette::ButtonText, theme::place(side, colours));
        colours.setColor(QPalette::Inactive, QPalette::ButtonText, theme::place(side, colours));
        colours.setColor(QPalette::Button, theme::placeTint(side, colours));
        button->setPalette(colours);
    }
    row->addStretch(1);
    around = new QCheckBox(tr("&Only around hunks"), card);
    row->addWidget(around);
    column->addWidget(explanation);
    column->addLayout(row);
    QObject::connect(around, &QCheckBox::toggled, page, [this](bool only) { editor->setOnlyAroundHunks(only); });
    return card;
}

QWidget* SettlePage::Private::buildDrawer()
{
    const int space = theme::gap(page);
    auto* box = new Card(page);
    drawerCard = box;
    auto* column = new QVBoxLayout(box);
    column->setContentsMargins(space, space / 2, space, space / 2);
    column->setSpacing(space / 2);
    drawerHandle = new QToolButton(box);
    drawerHandle->setText(tr("Be&fore both"));
    drawerHandle->setCheckable(true);
    drawerHandle->setChecked(true);
    drawerHandle->setArrowType(Qt::DownArrow);
    drawerHandle->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
    drawerHandle->setAutoRaise(true);
    drawerHandle->setProperty("plain", true);
    drawer = new TextPane(box);
    drawer->setReadOnly(true);
    drawer->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    drawer->setTabChangesFocus(true);
    drawer->setHorizontalScrollBarPolicy(Qt::ScrollBarAsNeeded);
    drawer->setAccessibleName(tr("Before both: the common ancestor's lines"));
    drawer->setFixedHeight(page->fontMetrics().height() * 5);
    column->addWidget(drawerHandle);
    column->addWidget(drawer);
    QObject::connect(drawerHandle, &QToolButton::toggled, page, [this](bool open) {
        drawer->setVisible(open);
        drawerHandle->setArrowType(open ? Qt::DownArrow : Qt::RightArrow);
    });
    return box;
}

void SettlePage::Private::build()
{
    const int space = theme::gap(page);
    auto* column = new QVBoxLayout(page);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(space);
    column->addWidget(buildHead());
    notice = new NoticeBar(page);
    column->addWidget(notice);
    auto* splitter = new QSplitter(Qt::Horizontal, page);
    splitter->setChildrenCollapsible(false);
    splitter->setHandleWidth(space);
    auto* listCard = new Card(splitter);
    listCard->setMinimumWidth(page->fontMetrics().averageCharWidth() * 44);
    auto* listColumn = new QVBoxLayout(listCard);
    listColumn->setContentsMargins(space, space, space, space);
    list = new HunkList(listCard);
    listColumn->addWidget(list);
    page->setFocusProxy(list);
    auto* right = new QWidget(splitter);
    auto* rightColumn = new QVBoxLayout(right);
    rightColumn->setContentsMargins(0, 0, 0, 0);
    rightColumn->setSpacing(space);
    editor = new ConflictEditor(right);
    auto* wholeCard = new Card(right);
    wholePath = wholeCard;
    auto* wholeColumn = new QVBoxLayout(wholeCard);
    wholeColumn->setContentsMargins(space * 3, space * 3, space * 3, space * 3);
    wholePathText = new PlainLabel(wholeCard);
    wholePathText->setAlignment(Qt::AlignCenter);
    wholePathText->setWrapped(true);
    wholePathText->setFont(theme::sized(page->font(), 1.15, true));
    auto* wholeHelp = new PlainLabel(tr("There are no lines to choose between: decide below what becomes of the file."), wholeCard);
    wholeHelp->setAlignment(Qt::AlignCenter);
    wholeHelp->setWrapped(true);
    page::quieten(wholeHelp);
    wholeColumn->addStretch(2);
    wholeColumn->addWidget(wholePathText);
    wholeColumn->addWidget(wholeHelp);
    wholeColumn->addStretch(3);
    rightColumn->addWidget(editor, 1);
    rightColumn->addWidget(wholePath, 1);
    rightColumn->addWidget(buildDecisions());
    rightColumn->addWidget(buildDrawer());
    splitter->setStretchFactor(0, 0);
    splitter->setStretchFactor(1, 1);
    splitter->setSizes({page->fontMetrics().averageCharWidth() * 38, page->fontMetrics().averageCharWidth() * 160});
    column->addWidget(splitter, 1);
    auto* foot = new PlainLabel(tr("Every decision is saved at once. Nothing in the repository changes before Apply."), page);
    page::quieten(foot);
    foot->setContentsMargins(space / 2, 0, space / 2, 0);
    column->addWidget(foot);
    QObject::connect(list, &HunkList::chosen, page, [this](int chosenFile, int chosenHunk) {
        editor->flush();
        showFile(chosenFile, chosenHunk);
    });
    QObject::connect(editor, &ConflictEditor::currentHunkChanged, page, [this] { showHunk(); });
    QObject::connect(editor, &ConflictEditor::settled, page, [this](const FileSettlement& settlement) {
        if (file < 0)
            return;
        rememberNew(settlement);
        flow->settle(shown.files[std::size_t(file)].key, settlement);
        showState();
        offerRecalled();
    });
    // The middle pane keeps Tab for itself; Escape is the keyboard's way out of it.
    auto* leave = new QShortcut(Qt::Key_Escape, editor, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
    QObject::connect(leave, &QShortcut::activated, page, [this] { next->setFocus(Qt::OtherFocusReason); });
}

void SettlePage::Private::load(std::size_t commit)
{
    const DryRunPtr run = flow->run();
    if (!run || commit >= run->commits.size() || loading)
        return;
    loading = true;
    startWork<CommitConflicts>(
        page, tr("Reading the conflict"),
        [path = session->path().toStdString(), run, commit](const Progress& progress) {
            return readConflicts(path, run, commit, progress);
        },
        [this](Result<CommitConflicts> read) {
            loading = false;
            if (!read) {
                notice->say(NoticeBar::Trouble, toText(read.error().line()));
                return;
            }
            shown = std::move(*read);
            file = -1;
            list->setFiles(shown.files);
            for (std::size_t i = 0; i < shown.files.size(); ++i) {
                const FileSettlement settlement = settlementOf(i);
                const auto open = std::ranges::find(settlement.hunks, Choice::Undecided, &HunkDecision::choice);
                if (open != settlement.hunks.end()) {
                    showFile(int(i), int(open - settlement.hunks.begin()));
                    return;
                }
            }
            if (!shown.files.empty())
                showFile(0, 0);
        });
}

void SettlePage::Private::showFile(int index, int hunkIndex)
{
    if (index < 0 || index >= int(shown.files.size()))
        return;
    file = index;
    const ConflictText& text = shown.files[std::size_t(index)];
    editor->setVisible(!text.wholePath);
    wholePath->setVisible(text.wholePath);
    drawerCard->setVisible(!text.wholePath);
    around->setVisible(!text.wholePath);
    if (text.wholePath) {
        wholePathText->setText(toText(text.explanation));
    } else {
        editor->setConflict(text, settlementOf(std::size_t(index)));
        if (hunkIndex >= 0)
            editor->setCurrentHunk(hunkIndex);
    }
    choices[0]->setText(text.wholePath ? toCaption(toText(text.keepNewBase)) : tr("Keep new base"));
    choices[1]->setText(text.wholePath ? toCaption(toText(text.keepYourCommit)) : tr("Keep your commit"));
    choices[2]->setVisible(!text.wholePath);
    choices[3]->setVisible(!text.wholePath);
    showHunk();
    showState();
}

void SettlePage::Private::showHunk()
{
    if (file < 0)
        return;
    const ConflictText& text = shown.files[std::size_t(file)];
    list->setCurrent(file, hunk());
    QString who = tr("The new base changed these lines");
    if (text.newBaseCommit)
        who += tr(" in %1 (%2, %3)").arg(toText(text.newBaseCommit->brief()), toText(text.newBaseAuthor),
                                         relativeTime(text.newBaseTime));
    explanation->setText(text.wholePath ? QString()
                                        : who + tr(", your commit in %1. Choose, or type in the middle pane.")
                                                        .arg(toText(text.yourCommit.brief())));
    explanation->setVisible(!text.wholePath);
    if (!text.wholePath && hunk() >= 0) {
        const ConflictHunk& at = text.hunks[std::size_t(hunk())];
        std::vector<PaneRow> rows;
        for (const QString& line : editor->model().ancestorLines().mid(at.ancestor.first, at.ancestor.count))
            rows.push_back({line, 0, false, ChangedLine::Same});
        if (rows.empty())
            rows.push_back({QString(), 0, true, ChangedLine::Same});
        drawer->setFirstNumber(at.ancestor.first + 1);
        drawer->setMaximumNumber(at.ancestor.end());
        drawer->setRows(rows);
        drawer->highlighter()->setFile(QString::fromUtf8(text.path), page->palette());
        drawerHandle->setText(at.ancestor.count == 0
                                  ? tr("Be&fore both: nothing stood here")
                              : at.ancestor.count == 1
                                  ? tr("Be&fore both (the common ancestor, line %1)").arg(at.ancestor.end())
                                  : tr("Be&fore both (the common ancestor, lines %1–%2)")
                                        .arg(at.ancestor.first + 1)
                                        .arg(at.ancestor.end()));
    }
    offerRecalled();
}

void SettlePage::Private::offerRecalled()
{
    if (file < 0 || shown.files[std::size_t(file)].wholePath || hunk() < 0)
        return;
    const auto index = std::size_t(file);
    const FileSettlement settlement = settlementOf(index);
    const auto& recalled = shown.recalled[index][std::size_t(hunk())];
    if (!recalled || settlement.hunks[std::size_t(hunk())].choice != Choice::Undecided) {
        notice->clear();
        return;
    }
    notice->say(NoticeBar::Info, tr("You decided these very lines before: %1.").arg(choiceText(recalled->choice)));
    QObject::connect(notice->offer(tr("Decide so &again")), &QPushButton::clicked, page,
                     [this, decision = *recalled] { editor->decide(decision); });
}

void SettlePage::Private::showState()
{
    const DryRunPtr run = flow->run();
    if (!run || file < 0 || shown.commit >= run->commits.size())
        return;
    for (std::size_t i = 0; i < shown.files.size(); ++i)
        list->setDecisions(int(i), settlementOf(i));
    const ConflictText& text = shown.files[std::size_t(file)];
    std::size_t total = 0;
    for (const ConflictText& one : shown.files)
        total += one.wholePath ? 1 : one.hunks.size();
    const std::size_t open = undecidedHere();
    title->setText(tr("Settle: %1 onto %2").arg(toText(flow->plan().label), toText(flow->plan().ontoLabel)));
    where->setText(tr("Commit %1 of %2: %3 · %4 · %5 of %6 undecided")
                       .arg(QString::number(shown.commit + 1), QString::number(run->commits.size()), toText(text.yourSubject),
                            toText(text.path), QString::number(open), toText(counted(total, "hunk", "hunks"))));
    undo->setEnabled(flow->canUndo());
    redo->setEnabled(flow->canRedo());
    // The flow's run may still be on its way; what was decided here counts at once.
    std::size_t elsewhere = 0;
    for (std::size_t i = 0; i < run->commits.size(); ++i)
        if (i != shown.commit)
            for (const Conflict& conflict : run->commits[i].conflicts)
                elsewhere += conflict.undecided;
    const bool all = open == 0 && elsewhere == 0;
    next->setText(all ? tr("Bac&k to the dry run") : tr("&Next undecided"));
    next->setDefault(true);
    previous->setEnabled(open > 0);
    for (QPushButton* button : choices)
        button->setEnabled(hunk() >= 0);
    if (all)
        notice->say(NoticeBar::Good, tr("Every hunk is decided. Read the dry run once more, then apply."));
}

void SettlePage::Private::decide(Choice choice)
{
    if (file < 0)
        return;
    const ConflictText& text = shown.files[std::size_t(file)];
    if (text.wholePath) {
        FileSettlement settlement = undecided(text);
        settlement.hunks[0].choice = choice;
        flow->settle(text.key, settlement);
        showState();
        return;
    }
    const int at = hunk();
    if (at < 0)
        return;
    editor->decide(choice);
}

// What was decided for a hunk is offered the next time the same three texts meet; typed text too.
void SettlePage::Private::rememberNew(const FileSettlement& settlement)
{
    const ConflictText& text = shown.files[std::size_t(file)];
    const FileSettlement before = settlementOf(std::size_t(file));
    std::vector<std::pair<ConflictHunk, HunkDecision>> fresh;
    for (std::size_t i = 0; i < std::min(settlement.hunks.size(), text.hunks.size()); ++i)
        if (settlement.hunks[i].choice != Choice::Undecided && settlement.hunks[i] != before.hunks[i])
            fresh.emplace_back(text.hunks[i], settlement.hunks[i]);
    if (!fresh.empty())
        flow->remember(std::move(fresh));
}

// Goes to where something changed, so that what undo does is never out of sight.
void SettlePage::Private::revert(bool forward)
{
    editor->flush();
    std::vector<FileSettlement> before;
    for (std::size_t i = 0; i < shown.files.size(); ++i)
        before.push_back(settlementOf(i));
    forward ? flow->redo() : flow->undo();
    for (std::size_t i = 0; i < shown.files.size(); ++i) {
        const FileSettlement after = settlementOf(i);
        if (after == before[i])
            continue;
        int changed = 0;
        while (changed + 1 < int(after.hunks.size()) && after.hunks[std::size_t(changed)] == before[i].hunks[std::size_t(changed)])
            ++changed;
        showFile(int(i), changed);
        return;
    }
    showState();
}

void SettlePage::Private::goUndecided(bool forward)
{
    editor->flush();
    const auto count = int(shown.files.size());
    // All hunks in order, from the one behind (or before) where the user is.
    std::vector<std::pair<int, int>> open;
    for (int i = 0; i < count; ++i) {
        const FileSettlement settlement = settlementOf(std::size_t(i));
        for (int h = 0; h < int(settlement.hunks.size()); ++h)
            if (settlement.hunks[std::size_t(h)].choice == Choice::Undecided)
                open.emplace_back(i, h);
    }
    if (!open.empty()) {
        const std::pair here{file, hunk()};
        auto at = forward ? std::ranges::upper_bound(open, here) : std::ranges::lower_bound(open, here);
        if (forward)
            at = at == open.end() ? open.begin() : at;
        else
            at = at == open.begin() ? open.end() - 1 : at - 1;
        showFile(at->first, at->second);
        return;
    }
    const DryRunPtr run = flow->run();
    if (flow->isBusy() || !run) {
        wantedHunk = 0; // go on when the dry run has come
        return;
    }
    if (run->firstConflict() < run->commits.size())
        load(run->firstConflict());
    else if (forward)
        Q_EMIT page->allSettled();
}

SettlePage::SettlePage(Session* session, ReplayFlow* flow, QWidget* parent)
    : QWidget(parent), d(std::make_unique<Private>())
{
    d->page = this;
    d->session = session;
    d->flow = flow;
    setAccessibleName(tr("Settle"));
    d->build();
    connect(flow, &ReplayFlow::runChanged, this, [this] {
        if (!isVisible())
            return;
        d->showState();
        if (std::exchange(d->wantedHunk, -1) >= 0)
            d->goUndecided(true);
    });
    connect(flow, &ReplayFlow::failed, this, [this](const QString& line) {
        if (isVisible())
            d->notice->say(NoticeBar::Trouble, line);
    });
}

SettlePage::~SettlePage() = default;

void SettlePage::begin()
{
    const DryRunPtr run = d->flow->run();
    d->notice->clear();
    if (!run)
        return;
    std::size_t commit = run->firstConflict();
    // Everything is decided already: the decisions are shown again.
    for (std::size_t i = 0; commit >= run->commits.size() && i < run->commits.size(); ++i)
        if (!run->commits[i].conflicts.empty())
            commit = i;
    d->load(commit);
}

} // namespace espalier
