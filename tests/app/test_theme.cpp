// SPDX-License-Identifier: MIT
//
// Contrast of every colour of the theme on every background that it is used on, in light and in dark. The thresholds are
// those of WCAG 2.2 (W3C Recommendation, 2023): 1.4.3 text 4.5:1, 1.4.11 graphics 3:1; the formula is written out here a
// second time from its definition of relative luminance, so that the theme's own one is checked too.
#include "app/support/theme.h"

#include <QApplication>
#include <QtTest>

#include <cmath>

using namespace espalier;

namespace {

// WCAG 2.2, "relative luminance" and "contrast ratio", from 8-bit sRGB.
double luminance(const QColor& colour)
{
    const auto linear = [](int value) {
        const double share = value / 255.0;
        return share <= 0.04045 ? share / 12.92 : std::pow((share + 0.055) / 1.055, 2.4);
    };
    return 0.2126 * linear(colour.red()) + 0.7152 * linear(colour.green()) + 0.0722 * linear(colour.blue());
}

double ratio(const QColor& a, const QColor& b)
{
    const double light = std::max(luminance(a), luminance(b)), dark = std::min(luminance(a), luminance(b));
    return (light + 0.05) / (dark + 0.05);
}

struct Named {
    QString name;
    QColor colour;
};

constexpr std::array places{Place::Upstream, Place::Fork, Place::Clone};

} // namespace

class TestTheme : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void formula_data();
    void formula();
    void text_data() { schemes(); }
    void text();
    void tintsUnderTheirText_data() { schemes(); }
    void tintsUnderTheirText();
    void graphics_data() { schemes(); }
    void graphics();
    void controls_data() { schemes(); }
    void controls();
    void palette_data() { schemes(); }
    void palette();
    void fittedReaches_data();
    void fittedReaches();

  private:
    static void schemes()
    {
        QTest::addColumn<bool>("dark");
        QTest::newRow("light") << false;
        QTest::newRow("dark") << true;
    }
    static QPalette use(bool dark)
    {
        theme::apply(*qApp, dark ? theme::Scheme::Dark : theme::Scheme::Light);
        return QApplication::palette();
    }
    static void check(const Named& front, const Named& back, double least)
    {
        const double reached = ratio(front.colour, back.colour);
        QVERIFY2(reached >= least, qPrintable(QStringLiteral("%1 %2 on %3 %4: %5, needs %6")
                                                  .arg(front.name, front.colour.name(), back.name, back.colour.name())
                                                  .arg(reached, 0, 'f', 2)
                                                  .arg(least)));
    }
};

void TestTheme::formula_data()
{
    QTest::addColumn<QColor>("a");
    QTest::addColumn<QColor>("b");
    QTest::addColumn<double>("expected");
    // Black on white is 21 and a colour on itself 1 by definition; #767676 on white is the well-known lightest grey that
    // passes 4.5 (common practice).
    QTest::newRow("black on white") << QColor(Qt::black) << QColor(Qt::white) << 21.0;
    QTest::newRow("same") << QColor(0x33, 0x66, 0x99) << QColor(0x33, 0x66, 0x99) << 1.0;
    QTest::newRow("grey on white") << QColor(0x76, 0x76, 0x76) << QColor(Qt::white) << 4.54;
}

void TestTheme::formula()
{
    QFETCH(QColor, a);
    QFETCH(QColor, b);
    QFETCH(double, expected);
    QVERIFY(std::abs(theme::contrast(a, b) - expected) < 0.005);
    QVERIFY(std::abs(theme::contrast(b, a) - expected) < 0.005);
    QVERIFY(std::abs(theme::contrast(a, b) - ratio(a, b)) < 1e-6);
}

// 1.4.3: everything that is text, on everything that it is written on.
void TestTheme::text()
{
    QFETCH(bool, dark);
    const QPalette colours = use(dark);
    QCOMPARE(theme::isDark(colours), dark);
    const QList<Named> grounds{{QStringLiteral("base"), colours.color(QPalette::Base)},
                               {QStringLiteral("window"), colours.color(QPalette::Window)},
                               {QStringLiteral("alternate base"), colours.color(QPalette::AlternateBase)},
                               {QStringLiteral("card"), theme::card(colours)},
                               {QStringLiteral("hover"), theme::hoverTint(colours)},
                               {QStringLiteral("upstream band"), theme::placeTint(Place::Upstream, colours)},
                               {QStringLiteral("fork band"), theme::placeTint(Place::Fork, colours)},
                               {QStringLiteral("clone band"), theme::placeTint(Place::Clone, colours)}};
    QList<Named> texts{{QStringLiteral("text"), colours.color(QPalette::Text)},
                       {QStringLiteral("quiet"), theme::quiet(colours)},
                       {QStringLiteral("warning"), theme::warning(colours)},
                       {QStringLiteral("success"), theme::success(colours)},
                       {QStringLiteral("danger"), theme::danger(colours)}};
    for (const Place place : places)
        texts.append({QString::fromStdString(std::string(placeName(place))), theme::place(place, colours)});
    for (const Named& front : texts)
        for (const Named& ground : grounds)
            check(front, ground, 4.5);
}

void TestTheme::tintsUnderTheirText()
{
    QFETCH(bool, dark);
    const QPalette colours = use(dark);
    check({QStringLiteral("warning"), theme::warning(colours)},
          {QStringLiteral("its tint"), theme::warningTint(colours)}, 4.5);
    check({QStringLiteral("success"), theme::success(colours)},
          {QStringLiteral("its tint"), theme::successTint(colours)}, 4.5);
    check({QStringLiteral("danger"), theme::danger(colours)}, {QStringLiteral("its tint"), theme::dangerTint(colours)},
          4.5);
    const Named text{QStringLiteral("text"), colours.color(QPalette::Text)};
    check(text, {QStringLiteral("undecided"), theme::undecidedTint(colours)}, 4.5);
    check(text, {QStringLiteral("selection"), theme::selectionTint(colours)}, 4.5);
    check({QStringLiteral("quiet"), theme::quiet(colours)},
          {QStringLiteral("selection"), theme::selectionTint(colours)}, 4.5);
}

// 1.4.11: lanes and presence marks on the base and on the bands.
void TestTheme::graphics()
{
    QFETCH(bool, dark);
    const QPalette colours = use(dark);
    QList<Named> grounds{{QStringLiteral("base"), colours.color(QPalette::Base)}};
    for (const Place place : places)
        grounds.append({QStringLiteral("band"), theme::placeTint(place, colours)});
    for (int lane = -1; lane < 15; ++lane)
        for (const Named& ground : grounds)
            check({QStringLiteral("lane %1").arg(lane), theme::laneColour(lane, colours)}, ground, 3.0);
}

// The filled buttons under their white text (1.4.3); they, the outlines of fields and check boxes, the thumbs of scroll bars
// and the ring around what has the keyboard beside what they stand on (1.4.11).
void TestTheme::controls()
{
    QFETCH(bool, dark);
    const QPalette colours = use(dark);
    const Named white{QStringLiteral("white"), QColor(Qt::white)};
    const Named base{QStringLiteral("base"), colours.color(QPalette::Base)};
    const Named window{QStringLiteral("window"), colours.color(QPalette::Window)};
    const Named ring{QStringLiteral("focus ring"), theme::focusRing(colours)};
    for (const Named& fill : {Named{QStringLiteral("primary"), theme::primary(colours)},
                              Named{QStringLiteral("danger"), theme::dangerFill(colours)}}) {
        check(white, fill, 4.5);
        for (const Named& ground : {base, window})
            check(fill, ground, 3.0);
    }
    for (const Named& ground : {base, window}) {
        check({QStringLiteral("outline"), theme::outline(colours)}, ground, 3.0);
        check(ring, ground, 3.0);
    }
    check(ring, {QStringLiteral("selection"), theme::selectionTint(colours)}, 3.0);
    check(ring, {QStringLiteral("hover"), theme::hoverTint(colours)}, 3.0);
}

void TestTheme::palette()
{
    QFETCH(bool, dark);
    const QPalette colours = use(dark);
    const auto pair = [&](QPalette::ColorRole front, QPalette::ColorRole back) {
        check({QVariant::fromValue(front).toString(), colours.color(front)},
              {QVariant::fromValue(back).toString(), colours.color(back)}, 4.5);
    };
    pair(QPalette::WindowText, QPalette::Window);
    pair(QPalette::Text, QPalette::Base);
    pair(QPalette::ButtonText, QPalette::Button);
    pair(QPalette::HighlightedText, QPalette::Highlight);
    pair(QPalette::ToolTipText, QPalette::ToolTipBase);
    pair(QPalette::Link, QPalette::Base);
    pair(QPalette::Link, QPalette::Window);
    pair(QPalette::LinkVisited, QPalette::Base);
    pair(QPalette::PlaceholderText, QPalette::Base);
}

void TestTheme::fittedReaches_data()
{
    QTest::addColumn<QColor>("background");
    for (int grey = 0; grey <= 255; grey += 15)
        QTest::addRow("grey %d", grey) << QColor(grey, grey, grey);
}

// Whatever the desktop's palette is: a fitted colour reaches its ratio or is the end of the scale.
void TestTheme::fittedReaches()
{
    QFETCH(QColor, background);
    for (const QColor& wanted : {QColor(0x00, 0x72, 0xB2), QColor(0xD5, 0x5E, 0x00), QColor(0xF0, 0xE4, 0x42)}) {
        const QColor got = theme::fitted(wanted, background, 4.5);
        const bool atEnd = got == QColor(Qt::black) || got == QColor(Qt::white);
        QVERIFY2(ratio(got, background) >= 4.5 || atEnd, qPrintable(got.name()));
    }
}

QTEST_MAIN(TestTheme)
#include "test_theme.moc"
