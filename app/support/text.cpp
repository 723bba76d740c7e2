// SPDX-License-Identifier: MIT
#include "app/support/text.h"

#include "app/support/theme.h"
#include "core/git/text.h"

#include <QHBoxLayout>
#include <QLocale>
#include <QPainter>
#include <QPushButton>
#include <QStyle>
#include <QTimeZone>
#include <QToolButton>

namespace espalier {

QString toText(std::string_view bytes)
{
    const std::string safe = displayText(bytes);
    return QString::fromUtf8(safe.data(), qsizetype(safe.size()));
}

QString toLines(std::string_view bytes)
{
    QString text;
    while (!bytes.empty()) {
        const std::size_t end = bytes.find('\n');
        std::string_view line = bytes.substr(0, end);
        bytes.remove_prefix(end == std::string_view::npos ? bytes.size() : end + 1);
        if (line.ends_with('\r'))
            line.remove_suffix(1);
        text += toText(line);
        if (end != std::string_view::npos)
            text += QLatin1Char('\n');
    }
    return text;
}

namespace {

// Long words get places, of no width, where a line may break.
QString breakable(const QString& text)
{
    constexpr int longest = 44; // more than an id has
    QString broken;
    int run = 0;
    for (const QChar c : text) {
        run = c.isSpace() ? 0 : run + 1;
        if (run > longest && !c.isLowSurrogate() && !c.isMark()) {
            broken += QChar(0x200B);
            run = 1;
        }
        broken += c;
    }
    return broken;
}

} // namespace

QString toToolTip(const QString& text)
{
    constexpr qsizetype wide = 100;
    const QStringList lines = text.split(QLatin1Char('\n'));
    const bool fits = std::ranges::all_of(lines, [](const QString& line) { return line.size() <= wide; });
    // What reads as markup is given as markup, which also wraps: escaped.
    if (fits && !Qt::mightBeRichText(text))
        return text;
    return QStringLiteral("<qt>%1</qt>")
        .arg(breakable(text).toHtmlEscaped().replace(QLatin1Char('\n'), QStringLiteral("<br>")));
}

QString toCaption(QString text) { return text.replace(QLatin1Char('&'), QStringLiteral("&&")); }

std::string toBytes(const QString& text)
{
    const QByteArray utf8 = text.toUtf8();
    return {utf8.constData(), std::size_t(utf8.size())};
}

QString relativeTime(qint64 seconds, const QDateTime& now)
{
    const qint64 passed = now.toSecsSinceEpoch() - seconds;
    const auto ago = [](qint64 count, const char* one, const char* many) {
        return QStringLiteral("%1 %2 ago").arg(count).arg(QLatin1String(count == 1 ? one : many));
    };
    constexpr qint64 minute = 60, hour = 60 * minute, day = 24 * hour;
    if (passed < minute)
        return QStringLiteral("just now");
    if (passed < hour)
        return ago(passed / minute, "minute", "minutes");
    if (passed < day)
        return ago(passed / hour, "hour", "hours");
    if (passed < 14 * day)
        return ago(passed / day, "day", "days");
    if (passed < 60 * day)
        return ago(passed / (7 * day), "week", "weeks");
    if (passed < 730 * day)
        return ago(passed / (30 * day), "month", "months");
    return ago(passed / (365 * day), "year", "years");
}

QString absoluteTime(qint64 seconds, int offsetMinutes)
{
    const QTimeZone zone(qBound(-14 * 60, offsetMinutes, 14 * 60) * 60);
    return QLocale().toString(QDateTime::fromSecsSinceEpoch(seconds, zone), QLocale::ShortFormat);
}

PlainLabel::PlainLabel(const QString& text, QWidget* parent) : QLabel(parent)
{
    setTextFormat(Qt::PlainText);
    setTextInteractionFlags(Qt::NoTextInteraction);
    setText(text);
}

void PlainLabel::setText(const QString& text)
{
    m_text = text;
    QLabel::setText(wordWrap() ? breakable(text) : text);
    setAccessibleName(text);
    updateGeometry();
}

void PlainLabel::setElideMode(Qt::TextElideMode mode)
{
    m_mode = mode;
    update();
}

void PlainLabel::setWrapped(bool wrapped)
{
    setWordWrap(wrapped);
    setText(m_text);
}

QSize PlainLabel::minimumSizeHint() const
{
    if (wordWrap())
        return QLabel::minimumSizeHint();
    return {fontMetrics().averageCharWidth() * 3, QLabel::sizeHint().height()};
}

QSize PlainLabel::sizeHint() const { return QLabel::sizeHint(); }

void PlainLabel::paintEvent(QPaintEvent* event)
{
    const QRect room = contentsRect();
    if (wordWrap() || fontMetrics().horizontalAdvance(m_text) <= room.width()) {
        setToolTip(QString());
        QLabel::paintEvent(event);
        return;
    }
    setToolTip(toToolTip(m_text));
    QPainter painter(this);
    style()->drawItemText(&painter, room, int(alignment()), palette(), isEnabled(),
                          fontMetrics().elidedText(m_text, m_mode, room.width()), foregroundRole());
}

Card::Card(QWidget* parent) : QFrame(parent) { setAttribute(Qt::WA_StyledBackground, false); }

void Card::setAccent(std::function<QColor(const QPalette&)> colour)
{
    m_accent = std::move(colour);
    update();
}

void Card::paintEvent(QPaintEvent*)
{
    QPainter painter(this);
    painter.setRenderHint(QPainter::Antialiasing);
    const QRectF room = QRectF(rect()).adjusted(0.5, 0.5, -0.5, -0.5);
    const double radius = theme::gap(this);
    painter.setPen(theme::cardBorder(palette()));
    painter.setBrush(theme::card(palette()));
    painter.drawRoundedRect(room, radius, radius);
    if (m_accent) {
        painter.setClipRect(QRectF(0, 0, radius * 0.6, height()));
        painter.setPen(Qt::NoPen);
        painter.setBrush(m_accent(palette()));
        painter.drawRoundedRect(room, radius, radius);
    }
}

NoticeBar::NoticeBar(QWidget* parent) : QFrame(parent)
{
    auto* row = new QHBoxLayout(this);
    m_label = new PlainLabel(this);
    m_label->setWrapped(true);
    m_label->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    m_actions = new QHBoxLayout;
    auto* close = new QToolButton(this);
    close->setText(QStringLiteral("×"));
    close->setAutoRaise(true);
    close->setAccessibleName(tr("Dismiss this message"));
    close->setToolTip(tr("Dismiss this message"));
    row->addWidget(m_label, 1);
    row->addLayout(m_actions);
    row->addWidget(close);
    m_close = close;
    connect(close, &QToolButton::clicked, this, [this] {
        clear();
        Q_EMIT dismissed();
    });
    hide();
}

void NoticeBar::say(Tone tone, const QString& line)
{
    clear();
    m_tone = tone;
    m_label->setText(line);
    setAccessibleName(line);
    const int space = theme::gap(this);
    layout()->setContentsMargins(space * 3 / 2, space / 2, space, space / 2);
    theme::keepColour(m_label, QPalette::WindowText, [tone](const QPalette& base) {
        return tone == Good      ? theme::success(base)
               : tone == Warning ? theme::warning(base)
               : tone == Trouble ? theme::danger(base)
                                 : base.color(QPalette::Text);
    });
    show();
    update();
}

QPushButton* NoticeBar::offer(const QString& label)
{
    auto* button = new QPushButton(label, this);
    m_actions->addWidget(button);
    return button;
}

void NoticeBar::clear()
{
    while (QLayoutItem* item = m_actions->takeAt(0)) {
        if (item->widget())
            item->widget()->deleteLater();
        delete item;
    }
    m_label->setText({});
    hide();
}

QString NoticeBar::line() const { return m_label->fullText(); }
void NoticeBar::setDismissable(bool dismissable) { m_close->setVisible(dismissable); }

void NoticeBar::paintEvent(QPaintEvent*)
{
    QPainter painter(this);
    painter.setRenderHint(QPainter::Antialiasing);
    const QColor fill = m_tone == Good      ? theme::successTint(palette())
                        : m_tone == Warning ? theme::warningTint(palette())
                        : m_tone == Trouble ? theme::dangerTint(palette())
                                            : theme::selectionTint(palette());
    painter.setPen(Qt::NoPen);
    painter.setBrush(fill);
    const double radius = theme::gap(this) * 0.75;
    painter.drawRoundedRect(rect(), radius, radius);
}

} // namespace espalier
