// SPDX-License-Identifier: MIT
#include "app/settle/form_bar.h"

#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHBoxLayout>
#include <QPushButton>

namespace espalier {

FormBar::FormBar(QWidget* parent) : QWidget(parent), m_rows(new QVBoxLayout(this))
{
    m_rows->setContentsMargins(0, 0, 0, 0);
    m_rows->setSpacing(theme::gap(this) / 2);
    hide();
}

void FormBar::showQuestions(const std::vector<FormQuestion>& questions)
{
    // The answer that was just given keeps the keyboard when the file comes back in its new form.
    QString focused;
    for (QPushButton* button : findChildren<QPushButton*>())
        if (button->hasFocus())
            focused = button->accessibleName();
    while (QLayoutItem* item = m_rows->takeAt(0)) {
        item->widget()->hide();
        item->widget()->deleteLater();
        delete item;
    }
    for (const FormQuestion& question : questions) {
        auto* line = new QWidget(this);
        auto* row = new QHBoxLayout(line);
        row->setContentsMargins(0, 0, 0, 0);
        row->setSpacing(theme::gap(this));
        const QString words = toText(question.words);
        auto* label = new PlainLabel(words + QLatin1Char('.'), line);
        label->setWrapped(true);
        row->addWidget(label, 1);
        for (const FormAnswer& answer : question.answers) {
            auto* button = new QPushButton(toText(answer.words), line);
            button->setCheckable(true);
            button->setAutoExclusive(true);
            button->setChecked(answer.chosen);
            button->setAccessibleName(tr("%1: %2").arg(words, toText(answer.words)));
            button->setToolTip(tr("For the whole file; what else differs is asked line by line"));
            connect(button, &QPushButton::clicked, this, [this, form = answer.form] { Q_EMIT answered(form); });
            row->addWidget(button);
            if (button->accessibleName() == focused)
                button->setFocus(Qt::OtherFocusReason);
        }
        m_rows->addWidget(line);
        line->show();
    }
    setVisible(!questions.empty());
}

} // namespace espalier
