// SPDX-License-Identifier: MIT
//
// Syntax highlighting of a text document in small slices, so that a file of a hundred thousand lines never holds up the
// window. Rows that are not part of the text (fillers) are passed over.
//
//     auto* highlighter = new CodeHighlighter(edit->document());
//     highlighter->setFile(QStringLiteral("core/height.cpp"), edit->palette());
#pragma once

#include <KSyntaxHighlighting/AbstractHighlighter>

#include <QHash>
#include <QObject>
#include <QTextLayout>
#include <QTimer>

#include <functional>

class QTextBlock;
class QTextDocument;
class QPalette;

namespace espalier {

class CodeHighlighter : public QObject, public KSyntaxHighlighting::AbstractHighlighter {
    Q_OBJECT
  public:
    // Belongs to the document.
    explicit CodeHighlighter(QTextDocument* document);

    // The language is found by the file's name; none for names that are not known.
    void setFile(const QString& name, const QPalette& palette);
    // Rows for which this says true are left plain and do not carry a state on.
    void setPassOver(std::function<bool(const QTextBlock&)> passOver) { m_passOver = std::move(passOver); }
    // Formats are being laid on: what the document signals is no change of text.
    bool isFormatting() const { return m_formatting; }
    // Text within a comment or a text of the language.
    static bool isQuoted(const QTextCharFormat& format);
    void highlightAll();
    // From a block on, until the state is what it was.
    void highlightFrom(int blockNumber);
    bool isDone() const { return m_next < 0; }

  protected:
    void applyFormat(int offset, int length, const KSyntaxHighlighting::Format& format) override;

  private:
    void onContentsChange(int position, int removed, int added);
    void slice();
    bool highlightBlock(QTextBlock block);
    QTextCharFormat charFormat(const KSyntaxHighlighting::Format& format);

    QTextDocument* m_document;
    std::function<bool(const QTextBlock&)> m_passOver;
    QTimer m_timer;
    QHash<int, QTextCharFormat> m_formats;
    QList<QTextLayout::FormatRange> m_ranges;
    QColor m_background;
    int m_next = -1;      // the block to go on with; -1: done
    int m_surelyUpTo = 0; // up to here an equal state does not end the work
    bool m_formatting = false;
};

} // namespace espalier
