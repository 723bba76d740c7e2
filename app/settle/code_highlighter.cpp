// SPDX-License-Identifier: MIT
#include "app/settle/code_highlighter.h"

#include "app/settle/text_codec.h"

#include "app/support/theme.h"

#include <KSyntaxHighlighting/Definition>
#include <KSyntaxHighlighting/Format>
#include <KSyntaxHighlighting/Repository>
#include <KSyntaxHighlighting/State>
#include <KSyntaxHighlighting/Theme>

#include <QElapsedTimer>
#include <QTextBlock>
#include <QTextDocument>

#include <algorithm>
#include <array>

namespace espalier {

namespace {

constexpr int sliceMilliseconds = 6;
constexpr int longestLine = 4000; // characters; longer lines stay plain
constexpr int quotedProperty = QTextFormat::UserProperty + 1;

KSyntaxHighlighting::Repository& definitions()
{
    static KSyntaxHighlighting::Repository repository;
    return repository;
}

struct BlockState : QTextBlockUserData {
    explicit BlockState(KSyntaxHighlighting::State after) : state(std::move(after)) {}
    KSyntaxHighlighting::State state;
};

} // namespace

CodeHighlighter::CodeHighlighter(QTextDocument* document) : QObject(document), m_document(document)
{
    m_timer.setInterval(0);
    connect(&m_timer, &QTimer::timeout, this, &CodeHighlighter::slice);
    connect(document, &QTextDocument::contentsChange, this, &CodeHighlighter::onContentsChange);
}

void CodeHighlighter::setFile(const QString& name, const QPalette& palette)
{
    const auto kind = theme::isDark(palette) ? KSyntaxHighlighting::Repository::DarkTheme
                                             : KSyntaxHighlighting::Repository::LightTheme;
    setTheme(definitions().defaultTheme(kind));
    setDefinition(definitions().definitionForFileName(name));
    m_background = palette.color(QPalette::Base);
    m_formats.clear();
    highlightAll();
}

void CodeHighlighter::highlightAll()
{
    m_next = 0;
    m_surelyUpTo = m_document->blockCount();
    m_timer.start();
}

bool CodeHighlighter::isQuoted(const QTextCharFormat& format) { return format.boolProperty(quotedProperty); }

void CodeHighlighter::highlightFrom(int blockNumber)
{
    if (m_next >= 0) {
        m_surelyUpTo = std::max(m_surelyUpTo, m_next);
        m_next = std::min(m_next, blockNumber);
    } else {
        m_next = blockNumber;
        m_surelyUpTo = blockNumber;
    }
    m_timer.start();
}

void CodeHighlighter::onContentsChange(int position, int, int added)
{
    if (m_formatting)
        return;
    const int first = m_document->findBlock(position).blockNumber();
    const QTextBlock last = m_document->findBlock(position + added);
    highlightFrom(first);
    m_surelyUpTo = std::max(m_surelyUpTo, last.isValid() ? last.blockNumber() + 1 : m_document->blockCount());
}

void CodeHighlighter::slice()
{
    if (!definition().isValid()) {
        m_next = -1;
        m_timer.stop();
        return;
    }
    QElapsedTimer clock;
    clock.start();
    QTextBlock block = m_document->findBlockByNumber(m_next);
    const int from = block.isValid() ? block.position() : 0;
    int to = from;
    while (block.isValid()) {
        const bool changed = highlightBlock(block);
        to = block.position() + block.length();
        ++m_next;
        block = block.next();
        if (!changed && m_next > m_surelyUpTo) {
            block = {};
            break;
        }
        if (clock.elapsed() >= sliceMilliseconds)
            break;
    }
    if (!block.isValid()) {
        m_next = -1;
        m_timer.stop();
    }
    m_formatting = true;
    m_document->markContentsDirty(from, std::max(0, to - from - 1));
    m_formatting = false;
}

// Whether the state after the block differs from what it was.
bool CodeHighlighter::highlightBlock(QTextBlock block)
{
    KSyntaxHighlighting::State before;
    if (const QTextBlock above = block.previous(); above.isValid())
        if (const auto* data = static_cast<BlockState*>(above.userData()))
            before = data->state;
    m_ranges.clear();
    KSyntaxHighlighting::State after = before;
    if (const QString text = block.text(); text.size() <= longestLine && !(m_passOver && m_passOver(block)))
        after = highlightLine(TextCodec::real(text), before); // lone surrogates are no text to a regular expression
    block.layout()->setFormats(m_ranges);
    const auto* old = static_cast<BlockState*>(block.userData());
    if (old && old->state == after)
        return false;
    block.setUserData(new BlockState(after));
    return true;
}

void CodeHighlighter::applyFormat(int offset, int length, const KSyntaxHighlighting::Format& format)
{
    if (length == 0 || format.isDefaultTextStyle(theme()))
        return;
    QTextLayout::FormatRange range;
    range.start = offset;
    range.length = length;
    range.format = charFormat(format);
    m_ranges.append(range);
}

QTextCharFormat CodeHighlighter::charFormat(const KSyntaxHighlighting::Format& format)
{
    const auto known = m_formats.constFind(format.id());
    if (known != m_formats.constEnd())
        return *known;
    QTextCharFormat result;
    // The hunks' tints lie under the text: a little more contrast than the bare background asks for.
    if (format.hasTextColor(theme()))
        result.setForeground(theme::fitted(format.textColor(theme()), m_background, 5.4));
    if (format.isBold(theme()))
        result.setFontWeight(QFont::Bold);
    if (format.isItalic(theme()))
        result.setFontItalic(true);
    using KSyntaxHighlighting::Theme;
    constexpr std::array quoted{Theme::Char,          Theme::SpecialChar,   Theme::String,     Theme::VerbatimString,
                                Theme::SpecialString, Theme::Documentation, Theme::Annotation, Theme::Comment};
    if (std::ranges::contains(quoted, format.textStyle()))
        result.setProperty(quotedProperty, true);
    m_formats.insert(format.id(), result);
    return result;
}

} // namespace espalier
