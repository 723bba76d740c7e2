// SPDX-License-Identifier: MIT
#include "app/history/filter_bar.h"

#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHBoxLayout>
#include <QKeyEvent>
#include <QLineEdit>
#include <QMenu>
#include <QToolButton>

namespace espalier {

FilterBar::FilterBar(QWidget* parent) : QWidget(parent)
{
    auto* row = new QHBoxLayout(this);
    const int gap = theme::gap(this);
    row->setContentsMargins(gap, gap / 2 + 1, gap, gap / 2 + 1);
    row->setSpacing(gap / 2);

    auto* kinds = button(tr("Find by"), tr("Add a condition"), false);
    kinds->setPopupMode(QToolButton::InstantPopup);
    auto* menu = new QMenu(kinds);
    const std::pair<QString, QString> conditions[] = {
        {tr("Person"), QStringLiteral("person:")},
        {tr("Path"), QStringLiteral("path:")},
        {tr("Id"), QStringLiteral("id:")},
        {tr("Not before a day"), QStringLiteral("since:")},
        {tr("Not after a day"), QStringLiteral("until:")},
        {tr("In upstream"), QStringLiteral("in:upstream")},
        {tr("In the fork"), QStringLiteral("in:fork")},
        {tr("In the clone"), QStringLiteral("in:clone")},
    };
    for (const auto& [words, condition] : conditions)
        menu->addAction(words, this, [this, condition] {
            const QString typed = m_field->text().trimmed();
            m_field->setText(typed.isEmpty() ? condition : typed + QLatin1Char(' ') + condition);
            m_field->setFocus();
        });
    kinds->setMenu(menu);

    m_field = new QLineEdit(this);
    m_field->setPlaceholderText(tr("Words of a message, person:, path:, id:, since:, until:, in:"));
    m_field->setAccessibleName(tr("Find commits"));
    m_field->setClearButtonEnabled(true);
    m_field->installEventFilter(this);
    m_result = new PlainLabel(this);
    m_previous = button(QStringLiteral("\u25b2"), tr("Previous match"), false);
    m_next = button(QStringLiteral("\u25bc"), tr("Next match"), false);
    m_only = button(tr("Matches only"), tr("Leave out the commits that do not match"), true);
    m_focus = button(tr("Focus"), tr("Show only how the chosen branch and the main line part"), true);
    m_fold = button(
        tr("Fold"),
        tr("Fold straight runs, landed branches and old ones into one row each; the row says what it holds"), true);

    row->addWidget(kinds);
    row->addWidget(m_field, 1);
    row->addWidget(m_result);
    row->addWidget(m_previous);
    row->addWidget(m_next);
    row->addWidget(m_only);
    row->addSpacing(gap);
    row->addWidget(m_focus);
    row->addWidget(m_fold);
    setResult(QString());

    m_delay.setSingleShot(true);
    m_delay.setInterval(250);
    connect(&m_delay, &QTimer::timeout, this, &FilterBar::parse);
    connect(m_field, &QLineEdit::textChanged, &m_delay, qOverload<>(&QTimer::start));
    connect(m_next, &QToolButton::clicked, this, &FilterBar::nextRequested);
    connect(m_previous, &QToolButton::clicked, this, &FilterBar::previousRequested);
    connect(m_only, &QToolButton::clicked, this, &FilterBar::onlyMatchesChanged);
    connect(m_fold, &QToolButton::clicked, this, &FilterBar::foldChanged);
    connect(m_focus, &QToolButton::clicked, this, [this](bool on) {
        if (on)
            Q_EMIT focusRequested();
        else
            Q_EMIT focusLeft();
    });
}

QToolButton* FilterBar::button(const QString& words, const QString& hint, bool checkable)
{
    auto* made = new QToolButton(this);
    made->setText(words);
    made->setToolTip(hint);
    made->setAccessibleName(words.size() > 1 ? words : hint);
    made->setCheckable(checkable);
    made->setAutoRaise(true);
    made->setFocusPolicy(Qt::TabFocus);
    return made;
}

void FilterBar::setFolded(bool folded) { m_fold->setChecked(folded); }
bool FilterBar::isFolded() const { return m_fold->isChecked(); }
void FilterBar::setOnlyMatches(bool only) { m_only->setChecked(only); }
bool FilterBar::onlyMatches() const { return m_only->isChecked(); }
QString FilterBar::result() const { return m_result->text(); }
QString FilterBar::text() const { return m_field->text(); }
void FilterBar::setText(const QString& text) { m_field->setText(text); }

void FilterBar::setFocused(const QString& branch)
{
    m_focus->setChecked(!branch.isEmpty());
    const QFontMetrics metrics(m_focus->font());
    m_focus->setText(branch.isEmpty()
                         ? tr("Focus")
                         : tr("Focus: %1")
                               .arg(metrics.elidedText(branch, Qt::ElideMiddle, 22 * metrics.averageCharWidth()))
                               .replace(QLatin1Char('&'), QStringLiteral("&&")));
}

void FilterBar::setResult(const QString& words, bool isTrouble)
{
    m_result->setText(words);
    m_result->setVisible(!words.isEmpty());
    theme::keepColour(m_result, QPalette::WindowText, isTrouble ? theme::warning : theme::quiet);
    const bool searching = !words.isEmpty() && !isTrouble;
    for (QToolButton* each : {m_next, m_previous, m_only})
        each->setVisible(searching || (each == m_only && m_only->isChecked()));
}

void FilterBar::focusField()
{
    m_field->setFocus(Qt::ShortcutFocusReason);
    m_field->selectAll();
}

void FilterBar::parse()
{
    const auto query = parseSearch(toBytes(m_field->text()));
    if (query)
        Q_EMIT queryChanged(*query);
    else
        setResult(QString::fromStdString(query.error().line()), true);
}

bool FilterBar::eventFilter(QObject* watched, QEvent* event)
{
    if (watched != m_field || event->type() != QEvent::KeyPress)
        return QWidget::eventFilter(watched, event);
    const auto* key = static_cast<QKeyEvent*>(event);
    switch (key->key()) {
    case Qt::Key_Escape:
        if (m_field->text().isEmpty())
            Q_EMIT leaveRequested();
        else
            m_field->clear();
        return true;
    case Qt::Key_Down:
        Q_EMIT leaveRequested();
        return true;
    case Qt::Key_Return:
    case Qt::Key_Enter:
        if (m_delay.isActive()) {
            m_delay.stop();
            parse();
        } else if (key->modifiers() & Qt::ShiftModifier) {
            Q_EMIT previousRequested();
        } else {
            Q_EMIT nextRequested();
        }
        return true;
    default:
        return QWidget::eventFilter(watched, event);
    }
}

} // namespace espalier
