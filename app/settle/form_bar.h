// SPDX-License-Identifier: MIT
//
// What the sides of a file differ in as a whole, line ends, encoding or mode, each with its answers. Private to app/settle.
//
//     bar->showQuestions(text.formQuestions);
//     connect(bar, &FormBar::answered, page, [=](const FileForm& form) { … });
#pragma once

#include "core/conflicts/form_questions.h"

#include <QWidget>

class QVBoxLayout;

namespace espalier {

class FormBar : public QWidget {
    Q_OBJECT
  public:
    explicit FormBar(QWidget* parent = nullptr);

    // Hidden when there are none.
    void showQuestions(const std::vector<FormQuestion>& questions);

  Q_SIGNALS:
    void answered(const espalier::FileForm& form);

  private:
    QVBoxLayout* m_rows;
};

} // namespace espalier
