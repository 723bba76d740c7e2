// SPDX-License-Identifier: MIT
//
// What the settle page does in the text of its panes, by keys and from the window's menu.
#include "app/settle/settle_page_private.h"

#include "app/settle/before_both.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/find_bar.h"
#include "app/settle/text_pane.h"
#include "app/support/theme.h"
#include "core/settle/split.h"

#include <QAction>
#include <QCheckBox>
#include <QSettings>
#include <QTextBlock>

namespace espalier {

namespace {

const QString wrapSetting = QStringLiteral("settle/wrapLines");

// As the platform has it. Where it has Ctrl+G for the next match, a line is gone to by another key.
QList<QKeySequence> keysOf(QKeySequence::StandardKey standard, const QKeySequence& otherwise)
{
    const QList<QKeySequence> keys = QKeySequence::keyBindings(standard);
    return keys.isEmpty() ? QList<QKeySequence>{otherwise} : keys;
}

} // namespace

void SettlePage::Private::buildTextActions()
{
    const auto add = [this](const char* name, const QString& words, const QList<QKeySequence>& keys, auto what) {
        auto* action = new QAction(words, page);
        action->setObjectName(QLatin1String(name));
        action->setShortcuts(keys);
        action->setShortcutContext(Qt::WidgetWithChildrenShortcut);
        QObject::connect(action, &QAction::triggered, page, what);
        page->addAction(action);
        textActions.push_back(action);
    };
    const QList<QKeySequence> nextKeys = keysOf(QKeySequence::FindNext, Qt::Key_F3);
    const QKeySequence lineKeys = nextKeys.contains(QKeySequence(Qt::CTRL | Qt::Key_G))
                                      ? QKeySequence(Qt::CTRL | Qt::Key_L)
                                      : QKeySequence(Qt::CTRL | Qt::Key_G);
    add("find", tr("&Find in the text…"), keysOf(QKeySequence::Find, Qt::CTRL | Qt::Key_F),
        [this] { findBar->openFind(false); });
    add("findNext", tr("&Next match"), nextKeys, [this] { findBar->findNext(true); });
    add("findPrevious", tr("&Previous match"), keysOf(QKeySequence::FindPrevious, Qt::SHIFT | Qt::Key_F3),
        [this] { findBar->findNext(false); });
    add("replace", tr("&Replace in the settled text…"), keysOf(QKeySequence::Replace, Qt::CTRL | Qt::Key_H),
        [this] { findBar->openFind(true); });
    add("goToLine", tr("&Go to line…"), {lineKeys}, [this] { findBar->openLine(); });
    add("splitHunk", tr("&Split the hunk at this line"), {Qt::Key_F12}, [this] { splitHunk(); });
    add("joinHunk", tr("&Join the hunk's parts again"), {Qt::SHIFT | Qt::Key_F12}, [this] { joinHunk(); });
    add("wrapLines", tr("&Wrap long lines"), {Qt::ALT | Qt::Key_W},
        [this] { wrapLines(textActions.back()->isChecked()); });
    textActions.back()->setCheckable(true);
    QObject::connect(wrap, &QCheckBox::toggled, page, [this](bool on) { wrapLines(on); });
    wrapLines(QSettings().value(wrapSetting, false).toBool());
    enableTextActions();
}

// What is disabled loses the keyboard.
void SettlePage::Private::holdEditor(bool away)
{
    if (away && editor->isEnabled() && editor->isAncestorOf(page->focusWidget()))
        typedIn = qobject_cast<TextPane*>(page->focusWidget());
    editor->setEnabled(!away);
    if (away || !typedIn)
        return;
    const int row = editor->pane(ConflictEditor::Pane::Settled)->textCursor().blockNumber();
    typedIn->setTextCursor(QTextCursor(typedIn->document()->findBlockByNumber(row)));
    typedIn->setFocus();
    typedIn = nullptr;
}

// The file comes back with other hunks, as in another form.
void SettlePage::Private::settleInParts(std::optional<FileSettlement> settled, int goesTo, const QString& otherwise)
{
    if (!settled) {
        notice->say(NoticeBar::Warning, otherwise);
        return;
    }
    troubled = false;
    staysAt = shown->files[std::size_t(file)].text.key;
    staysHunk = goesTo;
    flow->settle({{*staysAt, *settled}});
    showState();
}

void SettlePage::Private::splitHunk()
{
    if (file < 0 || staysAt || shown->files[std::size_t(file)].text.wholePath)
        return;
    editor->flush();
    const ConflictText& text = shown->files[std::size_t(file)].text;
    std::optional<FileSettlement> settled;
    const auto at = editor->lineToSplitAt();
    if (at)
        settled = withSplit(settlementOf(std::size_t(file)), segmentsOf(text), std::size_t(at->first), at->second);
    settleInParts(std::move(settled), at ? at->first + 1 : -1,
                  tr("A hunk is split at the line of the cursor: put it inside a hunk, below its first line."));
}

void SettlePage::Private::joinHunk()
{
    if (file < 0 || staysAt || hunk() < 0 || shown->files[std::size_t(file)].text.wholePath)
        return;
    editor->flush();
    const ConflictText& text = shown->files[std::size_t(file)].text;
    const int at = hunk();
    settleInParts(withJoined(settlementOf(std::size_t(file)), segmentsOf(text), std::size_t(at)),
                  at - text.hunks[std::size_t(at)].part, tr("This hunk has no parts to be joined."));
}

void SettlePage::Private::wrapLines(bool wrapped)
{
    textActions.back()->setChecked(wrapped);
    wrap->setChecked(wrapped);
    if (editor->isWrapped() == wrapped)
        return;
    editor->setWrapped(wrapped);
    drawer->setWrapped(wrapped);
    QSettings().setValue(wrapSetting, wrapped);
}

void SettlePage::Private::enableTextActions()
{
    const bool text = page->isVisible() && file >= 0 && !shown->files[std::size_t(file)].text.wholePath;
    for (QAction* action : textActions)
        action->setEnabled(text);
    if (!text && findBar->isVisible())
        findBar->close();
}

QList<QAction*> SettlePage::textActions() const { return d->textActions; }

void SettlePage::showEvent(QShowEvent* event)
{
    QWidget::showEvent(event);
    d->enableTextActions();
}

void SettlePage::hideEvent(QHideEvent* event)
{
    QWidget::hideEvent(event);
    d->enableTextActions();
}

} // namespace espalier
