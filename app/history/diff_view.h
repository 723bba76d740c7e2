// SPDX-License-Identifier: MIT
//
// The changed lines of one file: highlighted as code, added and deleted lines tinted and signed in the margin, changed
// words marked. Shows plain text only.
//
//     view->show(changes.files[0]);
#pragma once

#include "core/history/changes.h"

#include <QPlainTextEdit>

#include <vector>

namespace espalier {

class DiffView : public QPlainTextEdit {
    Q_OBJECT
  public:
    explicit DiffView(QWidget* parent = nullptr);
    ~DiffView() override;

    void show(const FileChange& file);
    // One line of explanation instead of a diff.
    void showNote(const QString& words);

  protected:
    void resizeEvent(QResizeEvent* event) override;
    void changeEvent(QEvent* event) override;

  private:
    class Margin;
    class Highlighter;
    struct Line {
        DiffLine::Kind kind = DiffLine::Context;
        bool heading = false;
        int oldNumber = 0, newNumber = 0;
        QString text;
        std::vector<std::pair<int, int>> marks; // from, to: the words that changed
    };
    std::vector<Line> linesOf(const FileChange& file) const;
    static void markWords(std::vector<Line>& lines);
    void fill();
    void paintMargin(QPaintEvent* event);
    int marginWidth() const;

    Margin* m_margin;
    Highlighter* m_highlighter;
    std::vector<Line> m_lines;
    QString m_note;
    QString m_name;
};

} // namespace espalier
