// SPDX-License-Identifier: MIT
#include "tests/support/plain_text.h"

#include <QAbstractButton>
#include <QAbstractItemModel>
#include <QAction>
#include <QComboBox>
#include <QLabel>
#include <QLineEdit>
#include <QPlainTextEdit>
#include <QRegularExpression>
#include <QTextEdit>
#include <QWidget>

namespace espalier::test {

namespace {

// UAX #9's direction controls, the C0 and C1 controls, and what has no width.
bool isPlain(QChar c, bool lines)
{
    const char16_t u = c.unicode();
    if (u == u'\n')
        return lines;
    return u >= 0x20 && (u < 0x7F || u > 0x9F) && u != 0x200E && u != 0x200F && u != 0x61C &&
           (u < 0x202A || u > 0x202E) && (u < 0x2066 || u > 0x2069);
}

class Judge {
  public:
    QStringList problems;

    // `lines`: several lines may stand here.
    void text(const QString& where, const QString& shown, bool lines = false)
    {
        if (!std::ranges::all_of(shown, [&](QChar c) { return isPlain(c, lines); }))
            add(where, QStringLiteral("control characters"), shown);
        // A sample's texts hold this where numbered places could be filled in by mistake.
        static const QRegularExpression places(QStringLiteral("\\{[^{}|]*\\|[^{}|]*\\|[^{}]*\\}"));
        for (auto at = places.globalMatch(shown); at.hasNext();)
            if (at.next().captured() != QStringLiteral("{%1|%2|%3|%4|%5|%6|%7}"))
                add(where, QStringLiteral("filled from elsewhere"), shown);
    }
    // A tool tip guesses: what looks like markup is read as markup, everything else is shown as it is.
    void toolTip(const QString& where, const QString& tip)
    {
        if (!Qt::mightBeRichText(tip)) {
            text(where, tip, true);
            if (tip.contains(QStringLiteral("R&amp;D")))
                add(where, QStringLiteral("escaped for nothing"), tip);
            return;
        }
        QString inside = tip;
        for (const char* wrap : {"<qt>", "</qt>", "<br>"})
            inside.remove(QLatin1String(wrap));
        if (inside.contains(QLatin1Char('<')))
            add(where, QStringLiteral("markup"), tip);
    }
    // Where an ampersand marks a letter, one out of a name must be doubled.
    void caption(const QString& where, const QString& caption)
    {
        text(where, caption);
        if (QString(caption).remove(QStringLiteral("&&")).contains(QStringLiteral("R&D")))
            add(where, QStringLiteral("a name's ampersand"), caption);
    }

  private:
    void add(const QString& where, const QString& what, const QString& shown)
    {
        problems << QStringLiteral("%1: %2 in \"%3\"").arg(where, what, shown.left(200));
    }
};

void judgeModel(Judge& judge, const QString& where, const QAbstractItemModel& model)
{
    constexpr int most = 300;
    const std::function<void(const QModelIndex&)> below = [&](const QModelIndex& parent) {
        for (int row = 0; row < std::min(most, model.rowCount(parent)); ++row)
            for (int column = 0; column < model.columnCount(parent); ++column) {
                const QModelIndex at = model.index(row, column, parent);
                judge.text(where, at.data(Qt::DisplayRole).toString(), true);
                judge.text(where + QStringLiteral(" read aloud"), at.data(Qt::AccessibleTextRole).toString(), true);
                judge.toolTip(where + QStringLiteral(" tool tip"), at.data(Qt::ToolTipRole).toString());
                if (column == 0 && model.hasChildren(at))
                    below(at);
            }
    };
    below({});
}

void judgeWidget(Judge& judge, const QWidget* widget)
{
    const QString where =
        QString::fromLatin1(widget->metaObject()->className()) + QLatin1Char(' ') + widget->objectName();
    judge.toolTip(where + QStringLiteral(" tool tip"), widget->toolTip());
    judge.text(where + QStringLiteral(" name"), widget->accessibleName());
    judge.text(where + QStringLiteral(" description"), widget->accessibleDescription(), true);
    if (widget->inherits("QTipLabel")) {
        judge.toolTip(where, qobject_cast<const QLabel*>(widget)->text());
    } else if (const auto* label = qobject_cast<const QLabel*>(widget)) {
        judge.text(where, label->text(), true);
        const bool rich = label->textFormat() == Qt::RichText || label->textFormat() == Qt::MarkdownText ||
                          (label->textFormat() == Qt::AutoText && Qt::mightBeRichText(label->text()));
        if (rich)
            judge.problems << where + QStringLiteral(" reads markup: ") + label->text();
    } else if (const auto* button = qobject_cast<const QAbstractButton*>(widget)) {
        judge.caption(where, button->text());
    } else if (const auto* text = qobject_cast<const QPlainTextEdit*>(widget)) {
        judge.text(where, text->toPlainText(), true);
    } else if (const auto* line = qobject_cast<const QLineEdit*>(widget)) {
        judge.text(where, line->text());
    } else if (qobject_cast<const QTextEdit*>(widget)) {
        judge.problems << where + QStringLiteral(" can show markup");
    }
}

} // namespace

QStringList textProblems(const QWidget* window)
{
    Judge judge;
    judge.text(QStringLiteral("title"), window->windowTitle());
    judgeWidget(judge, window);
    for (const QWidget* widget : window->findChildren<QWidget*>())
        judgeWidget(judge, widget);
    for (const QAbstractItemModel* model : window->findChildren<QAbstractItemModel*>())
        judgeModel(judge,
                   QString::fromLatin1(model->metaObject()->className()) + QStringLiteral(" of ") +
                       QString::fromLatin1(model->parent() ? model->parent()->metaObject()->className() : "nothing"),
                   *model);
    for (const QAction* action : window->findChildren<QAction*>()) {
        judge.caption(QStringLiteral("action"), action->text());
        judge.text(QStringLiteral("status tip"), action->statusTip());
    }
    return judge.problems;
}

} // namespace espalier::test
