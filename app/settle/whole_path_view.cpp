// SPDX-License-Identifier: MIT
#include "app/settle/whole_path_view.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/image_pane.h"
#include "app/settle/pane_card.h"
#include "app/settle/text_codec.h"
#include "app/settle/text_pane.h"
#include "app/support/page.h"
#include "app/support/theme.h"
#include "app/support/work.h"

#include <QEvent>
#include <QPointer>
#include <QToolButton>
#include <QVBoxLayout>

namespace espalier {

namespace {

constexpr int mostLines = 20'000;       // enough to decide by; the file itself is whole whatever is chosen
constexpr std::size_t mostBytes = 4096; // of a file that is no text
constexpr std::size_t bytesInRow = 8;

using Pane = ConflictEditor::Pane;

bool isText(const PathSide& side)
{
    return (side.mode == FileMode::File || side.mode == FileMode::Executable) && !side.binary && !side.contents.empty();
}

// Bytes that are no text, so that two such files can at least be told apart: place, bytes, and what of them is ASCII.
QStringList bytesOf(const std::string& contents)
{
    QStringList rows;
    const std::size_t shown = std::min(contents.size(), mostBytes);
    for (std::size_t at = 0; at < shown; at += bytesInRow) {
        QString hex, ascii;
        for (std::size_t i = at; i < std::min(at + bytesInRow, shown); ++i) {
            const auto byte = static_cast<unsigned char>(contents[i]);
            hex += QStringLiteral("%1 ").arg(byte, 2, 16, QLatin1Char('0'));
            ascii += byte > 0x20 && byte < 0x7f ? QChar(char16_t(byte)) : u'·';
        }
        rows << QStringLiteral("%1  %2 %3").arg(at, 6, 16, QLatin1Char('0')).arg(hex, -int(bytesInRow * 3)).arg(ascii);
    }
    return rows;
}

} // namespace

WholePathView::WholePathView(QWidget* parent)
    : QWidget(parent)
    , m_explanation(new PlainLabel(this))
    , m_newBase(new PaneCard(Pane::NewBase, this))
    , m_commit(new PaneCard(Pane::Commit, this))
    , m_newBaseImage(new ImagePane(m_newBase))
    , m_commitImage(new ImagePane(m_commit))
{
    const int space = theme::gap(this);
    auto* column = new QVBoxLayout(this);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(space);
    auto* words = new Card(this);
    auto* wordsColumn = page::cardColumn(words);
    m_explanation->setWrapped(true);
    m_explanation->setObjectName(QStringLiteral("wholePathWords"));
    m_explanation->setFont(theme::sized(font(), 1.1, true));
    auto* help = new PlainLabel(tr("It is decided as a whole: look at both sides, then choose below."), words);
    help->setWrapped(true);
    page::quieten(help);
    wordsColumn->addWidget(m_explanation);
    wordsColumn->addWidget(help);
    column->addWidget(words);
    auto* row = new QHBoxLayout;
    row->setSpacing(space);
    for (PaneCard* card : {m_newBase, m_commit}) {
        // Unlike an editor's panes these two are not laid out line by line: each scrolls by itself.
        card->pane->setVerticalScrollBarPolicy(Qt::ScrollBarAsNeeded);
        card->pane->setHorizontalScrollBarPolicy(Qt::ScrollBarAsNeeded);
        card->subtitle->setWrapped(true); // what a side has is said there alone
        row->addWidget(card, 1);
    }
    column->addLayout(row, 1);
    m_newBase->title->setText(tr("New base has"));
    m_commit->title->setText(tr("Your commit brings"));
    m_newBase->pane->setAccessibleName(tr("New base has"));
    m_commit->pane->setAccessibleName(tr("Your commit brings"));
    for (const Pane side : {Pane::NewBase, Pane::Commit}) {
        auto* lines = qobject_cast<QVBoxLayout*>(card(side)->layout());
        lines->addWidget(image(side), 1);
        image(side)->hide();
        connect(image(side), &ImagePane::resized, this, [this] { scaleImages(); });
        connect(card(side)->change, &QToolButton::toggled, this, [this, side] { showSide(side); });
    }
}

PaneCard* WholePathView::card(Pane side) const { return side == Pane::NewBase ? m_newBase : m_commit; }
TextPane* WholePathView::pane(Pane side) const { return card(side)->pane; }
ImagePane* WholePathView::image(Pane side) const { return side == Pane::NewBase ? m_newBaseImage : m_commitImage; }

void WholePathView::setConflict(const ConflictText& text)
{
    const bool same = m_text.key == text.key && m_text.newBaseId == text.newBaseId && m_text.commitId == text.commitId;
    m_text = text;
    m_explanation->setText(toText(text.explanation));
    for (const Pane which : {Pane::NewBase, Pane::Commit}) {
        const PathSide& side = which == Pane::NewBase ? text.sides.newBase : text.sides.commit;
        const PathSide& other = which == Pane::NewBase ? text.sides.commit : text.sides.newBase;
        const bool comparable = isText(side) && isText(text.sides.ancestor);
        QToolButton* change = card(which)->change;
        change->setVisible(comparable);
        // What goes with a file that the other side deleted is this side's change to it.
        const QSignalBlocker quiet(change);
        if (!same || !comparable)
            change->setChecked(comparable && !other.exists());
        image(which)->hide();
        pane(which)->show();
        showSide(which);
    }
    readImages();
}

// Until they are read their bytes stand there, and where one cannot be drawn they stay.
void WholePathView::readImages()
{
    ++m_reading;
    for (const Pane which : {Pane::NewBase, Pane::Commit}) {
        image(which)->setImage({});
        const PathSide& side = which == Pane::NewBase ? m_text.sides.newBase : m_text.sides.commit;
        if (!side.image)
            continue;
        startWork<QImage>(
            this, tr("Reading the image"), [bytes = side.contents](const Progress&) { return readImage(bytes); },
            [this, which, of = m_reading](Result<QImage> read) {
                if (read && of == m_reading)
                    showImage(which, *read);
            },
            WorkPriority::Background);
    }
}

void WholePathView::showImage(Pane which, const QImage& read)
{
    const PathSide& side = which == Pane::NewBase ? m_text.sides.newBase : m_text.sides.commit;
    image(which)->setImage(read);
    const QString size = tr("%1 × %2 pixels").arg(read.width()).arg(read.height());
    image(which)->setAccessibleName(tr("%1: %2, %3").arg(card(which)->title->fullText(), toText(side.words), size));
    pane(which)->hide();
    image(which)->show();
    scaleImages();
    showSide(which);
}

// Both at the same scale, so that what is larger looks so.
void WholePathView::scaleImages()
{
    double scale = 0;
    for (const Pane which : {Pane::NewBase, Pane::Commit})
        if (const double fits = image(which)->fitting(); fits > 0)
            scale = scale > 0 ? std::min(scale, fits) : fits;
    for (const Pane which : {Pane::NewBase, Pane::Commit})
        if (scale > 0)
            image(which)->setScale(scale);
}

void WholePathView::showSide(Pane which)
{
    const bool left = which == Pane::NewBase;
    const PathSide& side = left ? m_text.sides.newBase : m_text.sides.commit;
    PaneCard* shown = card(which);
    const TextCodec codec = TextCodec::forTexts({m_text.sides.ancestor.contents, side.contents});
    std::vector<PaneRow> rows;
    QString words = toText(side.words);
    if (shown->change->isChecked()) {
        const QStringList old = codec.split(m_text.sides.ancestor.contents).lines;
        const QStringList lines = codec.split(side.contents).lines;
        for (const ChangedLine& line : changeOf(m_text.sides.ancestor.contents, side.contents))
            rows.push_back({(line.kind == ChangedLine::Removed ? old : lines).at(line.line), 0, false, line.kind});
    } else {
        const QStringList lines = side.binary ? bytesOf(side.contents) : codec.split(side.contents).lines;
        for (const QString& line : lines)
            rows.push_back({line, 0, false, ChangedLine::Same});
    }
    if (const QImage& drawn = image(which)->image(); !drawn.isNull())
        words += tr(", %1 × %2 pixels").arg(drawn.width()).arg(drawn.height());
    else if (side.binary && side.contents.size() > mostBytes)
        words += tr("; its first %1 bytes are shown").arg(mostBytes);
    if (rows.size() > std::size_t(mostLines)) {
        rows.resize(std::size_t(mostLines));
        words += tr("; the first %1 lines are shown").arg(mostLines);
    }
    std::vector<HunkFrame> frames;
    if (rows.empty()) {
        rows.push_back({QString(), 0, true, ChangedLine::Same});
        const Place colour = left ? Place::Upstream : Place::Fork;
        frames.push_back({0, 0, 1, theme::place(colour, palette()), theme::placeTint(colour, palette()), true, words});
    }
    const Oid who = left ? m_text.newBaseCommit.value_or(Oid()) : m_text.yourCommit;
    if (!who.isZero())
        words += tr(" (%1 %2)").arg(toText(who.brief()), toText(left ? m_text.newBaseSubject : m_text.yourSubject));
    shown->subtitle->setText(words);
    shown->pane->setAccessibleDescription(words);
    shown->pane->setRows(rows);
    shown->pane->setMaximumNumber(int(rows.size()));
    shown->pane->setFrames(std::move(frames), -1);
    shown->pane->highlighter()->setFile(isText(side) ? QString::fromUtf8(side.path) : QString(), palette());
}

void WholePathView::changeEvent(QEvent* event)
{
    QWidget::changeEvent(event);
    if (event->type() != QEvent::PaletteChange && event->type() != QEvent::FontChange)
        return;
    for (const Pane side : {Pane::NewBase, Pane::Commit}) {
        card(side)->dress();
        showSide(side);
    }
}

} // namespace espalier
