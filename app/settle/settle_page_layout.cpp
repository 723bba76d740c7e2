// SPDX-License-Identifier: MIT
//
// How the settle page is put together, and what each of its controls asks for.
#include "app/settle/settle_page_private.h"

#include "app/settle/before_both.h"
#include "app/settle/check_drawer.h"
#include "app/settle/commit_drawer.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/find_bar.h"
#include "app/settle/form_bar.h"
#include "app/settle/hunk_list.h"
#include "app/settle/offer_bar.h"
#include "app/settle/whole_path_view.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/git/text.h"

#include <QCheckBox>
#include <QPushButton>
#include <QShortcut>
#include <QSplitter>
#include <QToolButton>
#include <QVBoxLayout>

namespace espalier {

namespace {

// A button's own shortcut presses it for a tenth of a second before it clicks; what is typed meanwhile would go to the
// hunk that is being left. This one clicks at once.
void clicksAt(QPushButton* button, const QKeySequence& key)
{
    auto* shortcut = new QShortcut(key, button);
    QObject::connect(shortcut, &QShortcut::activated, button, [button] { button->click(); });
}

} // namespace

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
        QObject::connect(button, &QPushButton::clicked, page, [this, as = choice] { decide(as); });
        choices.push_back(button);
        row->addWidget(button);
    }
    // The two sides' answers have their panes' colours.
    for (const auto& [button, side] : {std::pair{choices[0], Place::Upstream}, {choices[1], Place::Fork}}) {
        theme::keepColour(button, QPalette::ButtonText, [side](const QPalette& on) { return theme::place(side, on); });
        theme::keepColour(button, QPalette::Button, [side](const QPalette& on) { return theme::placeTint(side, on); });
    }
    row->addStretch(1);
    around = new QCheckBox(tr("&Only around hunks"), card);
    wrap = new QCheckBox(tr("Wrap long lines"), card);
    wrap->setToolTip(tr("Alt+W"));
    wrap->setObjectName(QStringLiteral("wrapLines"));
    auto* words = new QHBoxLayout;
    words->setSpacing(space * 2);
    words->addWidget(explanation, 1);
    words->addWidget(wrap);
    words->addWidget(around);
    column->addLayout(words);
    besides = new PlainLabel(card);
    besides->setWrapped(true);
    besides->setObjectName(QStringLiteral("besides"));
    besides->hide();
    column->addWidget(besides);
    forms = new FormBar(card);
    column->addWidget(forms);
    offers = new OfferBar(card);
    offers->hide();
    column->addWidget(offers);
    column->addLayout(row);
    QObject::connect(forms, &FormBar::answered, page, [this](const FileForm& form) { settleForm(form); });
    QObject::connect(offers, &OfferBar::taken, page, [this] { takeOffer(); });
    QObject::connect(offers, &OfferBar::allTaken, page, [this] { takeAllOffers(); });
    QObject::connect(offers, &OfferBar::forgotten, page, [this] { forgetOffer(); });
    QObject::connect(around, &QCheckBox::toggled, page, [this](bool only) { editor->setOnlyAroundHunks(only); });
    return card;
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
    wrong = new NoticeBar(page);
    wrong->setObjectName(QStringLiteral("wrong"));
    wrong->setDismissable(false);
    column->addWidget(wrong);
    auto* splitter = new QSplitter(Qt::Horizontal, page);
    splitter->setChildrenCollapsible(false);
    splitter->setHandleWidth(space);
    buildList(splitter);
    auto* right = new QWidget(splitter);
    auto* rightColumn = new QVBoxLayout(right);
    rightColumn->setContentsMargins(0, 0, 0, 0);
    rightColumn->setSpacing(space);
    editor = new ConflictEditor(right);
    wholePath = new WholePathView(right);
    findBar = new FindBar(editor, right);
    rightColumn->addWidget(findBar);
    rightColumn->addWidget(editor, 1);
    rightColumn->addWidget(wholePath, 1);
    rightColumn->addWidget(buildDecisions());
    rightColumn->addWidget(buildDrawers(right));
    splitter->setStretchFactor(0, 0);
    splitter->setStretchFactor(1, 1);
    splitter->setSizes({page->fontMetrics().averageCharWidth() * 38, page->fontMetrics().averageCharWidth() * 160});
    column->addWidget(splitter, 1);
    auto* foot =
        new PlainLabel(tr("Every decision is saved at once. Nothing in the repository changes before Apply."), page);
    page::quieten(foot);
    mining = new PlainLabel(page);
    page::quieten(mining);
    auto* below = new QHBoxLayout;
    below->setContentsMargins(space / 2, 0, space / 2, 0);
    below->addWidget(foot, 1);
    below->addWidget(mining);
    column->addLayout(below);
    QObject::connect(editor, &ConflictEditor::currentHunkChanged, page, [this] {
        waitingEdit = -1;
        showHunk();
    });
    QObject::connect(editor, &ConflictEditor::settled, page, [this](const FileSettlement& settlement) {
        if (file < 0 || !flow)
            return;
        troubled = false;
        const FileSettlement before = settlementOf(std::size_t(file));
        rememberNew(file, before, settlement);
        FileSettlement now = settlement;
        // The editor may not have got the file in its new form or parts yet.
        now.form = before.form;
        if (now.cuts != before.cuts)
            return;
        flow->settle({{shown->files[std::size_t(file)].text.key, now}});
        showState();
        offerAgain();
    });
    const auto byKey = [this](const QKeySequence& keys, auto what) {
        auto* shortcut = new QShortcut(keys, page, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
        QObject::connect(shortcut, &QShortcut::activated, page, what);
    };
    byKey(Qt::ALT | Qt::Key_8, [this] {
        const bool all = editor->isShownAsChange(ConflictEditor::Pane::NewBase) &&
                         editor->isShownAsChange(ConflictEditor::Pane::Commit);
        for (const auto side : {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Commit})
            editor->setShownAsChange(side, !all);
    });
    byKey(Qt::ALT | Qt::Key_9, [this] {
        if (file >= 0 && !shown->files[std::size_t(file)].text.wholePath)
            commits->setOpen(!commits->isOpen());
    });
    buildTextActions();
    byKey(Qt::ALT | Qt::Key_0, [this] { check->setOpen(!check->isOpen()); });
    // The middle pane keeps Tab for itself; Escape is the keyboard's way out of it.
    auto* leave = new QShortcut(Qt::Key_Escape, editor, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
    QObject::connect(leave, &QShortcut::activated, page, [this] { next->setFocus(Qt::OtherFocusReason); });
}

} // namespace espalier
