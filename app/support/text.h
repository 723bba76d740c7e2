// SPDX-License-Identifier: MIT
//
// Text on its way to the screen. Bytes of a repository become QStrings here and nowhere else, and are shown by widgets
// that never read markup.
#pragma once

#include <QDateTime>
#include <QFrame>
#include <QLabel>
#include <QString>
#include <QWidget>

#include <functional>
#include <string_view>

class QHBoxLayout;
class QPushButton;

namespace espalier {

// One line, control and direction characters made visible (see core/git/text.h).
QString toText(std::string_view bytes);
// Several lines, each made safe; line ends stay.
QString toLines(std::string_view bytes);
// For a tool tip, which guesses whether what it is given is markup: reads as `text` whatever that holds, in lines that fit.
QString toToolTip(const QString& text);
// For a button or a menu, where an ampersand would mark a letter.
QString toCaption(QString text);
// Back to UTF-8 bytes.
std::string toBytes(const QString& text);

// "2 days ago", "in 3 hours" is never said: a future time reads "just now". Seconds since 1970.
QString relativeTime(qint64 seconds, const QDateTime& now = QDateTime::currentDateTime());
// Date and time as the user's locale writes them, in the zone of `offsetMinutes`.
QString absoluteTime(qint64 seconds, int offsetMinutes);

// A label that shows plain text only and elides what does not fit; the whole text is its tooltip and accessible name.
class PlainLabel : public QLabel {
    Q_OBJECT
  public:
    explicit PlainLabel(QWidget* parent = nullptr) : PlainLabel(QString(), parent) {}
    explicit PlainLabel(const QString& text, QWidget* parent = nullptr);
    void setText(const QString& text);
    void setElideMode(Qt::TextElideMode mode);
    // Wraps instead of eliding.
    void setWrapped(bool wrapped);
    QString fullText() const { return m_text; }
    QSize minimumSizeHint() const override;
    QSize sizeHint() const override;

  protected:
    void paintEvent(QPaintEvent* event) override;

  private:
    QString m_text;
    Qt::TextElideMode m_mode = Qt::ElideRight;
};

// A rounded surface on the window's background.
class Card : public QFrame {
    Q_OBJECT
  public:
    explicit Card(QWidget* parent = nullptr);
    // A coloured bar at the left (none at first).
    void setAccent(std::function<QColor(const QPalette&)> colour);

  protected:
    void paintEvent(QPaintEvent* event) override;

  private:
    std::function<QColor(const QPalette&)> m_accent;
};

// A line in the page that says what happened or what is wrong, with actions. Hidden while it has nothing to say.
class NoticeBar : public QFrame {
    Q_OBJECT
  public:
    enum Tone { Info, Good, Warning, Trouble };
    explicit NoticeBar(QWidget* parent = nullptr);
    void say(Tone tone, const QString& line);
    // Adds a button to what is said now; gone with the next say().
    QPushButton* offer(const QString& label);
    void clear();
    QString line() const;
    // What stays until it is answered has no sign to close it with.
    void setDismissable(bool dismissable);

  Q_SIGNALS:
    void dismissed();

  protected:
    void paintEvent(QPaintEvent* event) override;

  private:
    Tone m_tone = Info;
    PlainLabel* m_label = nullptr;
    QHBoxLayout* m_actions = nullptr;
    QWidget* m_close = nullptr;
};

} // namespace espalier
