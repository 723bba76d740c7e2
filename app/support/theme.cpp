// SPDX-License-Identifier: MIT
#include "app/support/theme.h"

#include "app/support/style.h"

#include <QApplication>
#include <QFontDatabase>
#include <QFontMetrics>
#include <QGuiApplication>
#include <QStyleHints>
#include <QTreeWidget>
#include <QTreeWidgetItemIterator>

#include <array>
#include <cmath>

namespace espalier::theme {

namespace {

// Okabe and Ito, "Color Universal Design" (2008): blue, vermillion, bluish green, then the others (values from memory).
constexpr QRgb blue = 0xFF0072B2, vermillion = 0xFFD55E00, green = 0xFF009E73;
constexpr std::array<QRgb, 7> laneHues{0xFF009E73, 0xFFCC79A7, 0xFF56B4E9, 0xFFE69F00,
                                       0xFF0072B2, 0xFFD55E00, 0xFFF0E442};

QRgb hueOf(Place place)
{
    switch (place) {
    case Place::Upstream:
        return blue;
    case Place::Fork:
        return vermillion;
    default:
        return green;
    }
}

double luminance(const QColor& colour)
{
    const auto channel = [](double c) { return c <= 0.04045 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4); };
    return 0.2126 * channel(colour.redF()) + 0.7152 * channel(colour.greenF()) + 0.0722 * channel(colour.blueF());
}

// A wash of `hue` over the base.
QColor tint(QRgb hue, const QPalette& palette, double light, double dark)
{
    return mixed(palette.color(QPalette::Base), QColor(hue), isDark(palette) ? dark : light);
}

// Text of that hue that can also stand on its own tint.
QColor text(QRgb hue, const QPalette& palette)
{
    const QColor onItsOwn = fitted(QColor(hue), tint(hue, palette, 0.12, 0.22), 4.6);
    // The clone's band is the strongest of the other grounds in dark, the hovered row in light.
    return fitted(fitted(onItsOwn, tint(green, palette, 0.07, 0.22), 4.6), hoverTint(palette), 4.6);
}

// A ground for white text that stands out from the page as well.
QColor filled(QRgb hue, const QPalette& palette)
{
    return fitted(fitted(QColor(hue), QColor(Qt::white), 4.7), palette.color(QPalette::Base), 3.05);
}

QPalette paletteFor(bool dark)
{
    const auto set = [](QPalette& palette, QPalette::ColorRole role, QRgb colour) {
        palette.setColor(role, QColor(colour));
    };
    QPalette palette;
    set(palette, QPalette::Window, dark ? 0xFF1B1F24 : 0xFFF5F6F8);
    set(palette, QPalette::WindowText, dark ? 0xFFE6E9ED : 0xFF1F2933);
    set(palette, QPalette::Base, dark ? 0xFF22272E : 0xFFFFFFFF);
    set(palette, QPalette::AlternateBase, dark ? 0xFF272D35 : 0xFFF7F8FA);
    set(palette, QPalette::Text, dark ? 0xFFE6E9ED : 0xFF1F2933);
    set(palette, QPalette::Button, dark ? 0xFF2D343D : 0xFFFDFDFE);
    set(palette, QPalette::ButtonText, dark ? 0xFFE6E9ED : 0xFF1F2933);
    set(palette, QPalette::BrightText, 0xFFFFFFFF);
    set(palette, QPalette::Highlight, dark ? 0xFF2F6690 : 0xFF0B6AA8);
    set(palette, QPalette::HighlightedText, 0xFFFFFFFF);
    set(palette, QPalette::Link, dark ? 0xFF7CC4F0 : 0xFF00639B);
    set(palette, QPalette::LinkVisited, dark ? 0xFFD9A6C4 : 0xFF8A4A75);
    set(palette, QPalette::ToolTipBase, dark ? 0xFF2D343D : 0xFF26313B);
    set(palette, QPalette::ToolTipText, dark ? 0xFFE6E9ED : 0xFFF5F7FA);
    set(palette, QPalette::PlaceholderText, dark ? 0xFF9AA5B1 : 0xFF5F6C79);
    set(palette, QPalette::Light, dark ? 0xFF3A424D : 0xFFFFFFFF);
    set(palette, QPalette::Midlight, dark ? 0xFF333B45 : 0xFFEDEFF2);
    set(palette, QPalette::Mid, dark ? 0xFF454E5A : 0xFFC5CCD4);
    set(palette, QPalette::Dark, dark ? 0xFF5A6572 : 0xFF9AA5B1);
    set(palette, QPalette::Shadow, dark ? 0xFF0D1014 : 0xFF616E7C);
    for (const auto role : {QPalette::WindowText, QPalette::Text, QPalette::ButtonText})
        palette.setColor(QPalette::Disabled, role, QColor(dark ? 0xFF7B8794 : 0xFF8A96A3));
    palette.setColor(QPalette::Disabled, QPalette::Highlight, QColor(dark ? 0xFF3A424D : 0xFFD0D6DD));
    return palette;
}

} // namespace

void apply(QApplication& application, Scheme scheme)
{
    const bool dark = scheme == Scheme::Dark || (scheme == Scheme::System &&
                                                 QGuiApplication::styleHints()->colorScheme() == Qt::ColorScheme::Dark);
    application.setStyle(new Style);
    application.setPalette(paletteFor(dark));
    static QMetaObject::Connection following;
    QObject::disconnect(following);
    if (scheme == Scheme::System)
        following = QObject::connect(
            QGuiApplication::styleHints(), &QStyleHints::colorSchemeChanged, &application,
            [&application](Qt::ColorScheme now) { application.setPalette(paletteFor(now == Qt::ColorScheme::Dark)); });
}

namespace {

class ColourKeeper : public QObject {
  public:
    ColourKeeper(QWidget* widget, QPalette::ColorRole role) : QObject(widget), m_role(role)
    {
        widget->installEventFilter(this);
    }
    QPalette::ColorRole role() const { return m_role; }
    void keep(std::function<QColor(const QPalette&)> colour)
    {
        m_colour = std::move(colour);
        dress();
    }

  protected:
    bool eventFilter(QObject* watched, QEvent* event) override
    {
        if (event->type() == QEvent::PaletteChange && watched == parent())
            dress();
        return false;
    }

  private:
    // All that are kept of the widget, and nothing else: the rest goes on following the window.
    void dress()
    {
        auto* widget = static_cast<QWidget*>(parent());
        const QPalette now = widget->palette();
        QPalette own;
        bool same = true;
        for (const QObject* child : widget->children())
            if (const auto* one = dynamic_cast<const ColourKeeper*>(child); one && one->m_colour) {
                const QColor wanted = one->m_colour(now);
                same = same && now.color(QPalette::Active, one->m_role) == wanted;
                own.setColor(QPalette::Active, one->m_role, wanted);
                own.setColor(QPalette::Inactive, one->m_role, wanted);
                if (one->m_role != QPalette::ButtonText) // a button that cannot be pressed looks so
                    own.setColor(QPalette::Disabled, one->m_role, wanted);
            }
        if (!same)
            widget->setPalette(own);
    }

    QPalette::ColorRole m_role;
    std::function<QColor(const QPalette&)> m_colour;
};

} // namespace

void keepColour(QWidget* widget, QPalette::ColorRole role, std::function<QColor(const QPalette&)> colour)
{
    ColourKeeper* keeper = nullptr;
    for (QObject* child : widget->children())
        if (auto* one = dynamic_cast<ColourKeeper*>(child); one && one->role() == role)
            keeper = one;
    if (!keeper)
        keeper = new ColourKeeper(widget, role);
    keeper->keep(std::move(colour));
}

namespace {

constexpr int colourRole = Qt::UserRole + 90;
using ItemColour = QColor (*)(const QPalette&);

class ItemColourKeeper : public QObject {
  public:
    explicit ItemColourKeeper(QTreeWidget* tree) : QObject(tree) { tree->installEventFilter(this); }

  protected:
    bool eventFilter(QObject* watched, QEvent* event) override
    {
        if (event->type() == QEvent::PaletteChange && watched == parent()) {
            auto* tree = static_cast<QTreeWidget*>(parent());
            for (QTreeWidgetItemIterator at(tree); *at; ++at)
                for (int column = 0; column < tree->columnCount(); ++column)
                    if (const QVariant kept = (*at)->data(column, colourRole); kept.isValid())
                        (*at)->setForeground(column,
                                             reinterpret_cast<ItemColour>(kept.value<quintptr>())(tree->palette()));
        }
        return false;
    }
};

} // namespace

void keepColour(QTreeWidget* tree, QTreeWidgetItem* item, int column, QColor (*colour)(const QPalette&))
{
    item->setData(column, colourRole, QVariant::fromValue(reinterpret_cast<quintptr>(colour)));
    item->setForeground(column, colour(tree->palette()));
    for (const QObject* child : tree->children())
        if (dynamic_cast<const ItemColourKeeper*>(child))
            return;
    new ItemColourKeeper(tree);
}

bool isDark(const QPalette& palette) { return luminance(palette.color(QPalette::Base)) < 0.18; }

double contrast(const QColor& a, const QColor& b)
{
    const double first = luminance(a), second = luminance(b);
    return (std::max(first, second) + 0.05) / (std::min(first, second) + 0.05);
}

QColor mixed(const QColor& a, const QColor& b, double share)
{
    const auto mix = [share](int x, int y) { return int(std::lround(x + (y - x) * share)); };
    return {mix(a.red(), b.red()), mix(a.green(), b.green()), mix(a.blue(), b.blue())};
}

QColor fitted(const QColor& wanted, const QColor& background, double ratio)
{
    const QColor end = luminance(background) < 0.18 ? QColor(Qt::white) : QColor(Qt::black);
    for (double share = 0; share < 1; share += 0.02)
        if (const QColor colour = mixed(wanted, end, share); contrast(colour, background) >= ratio)
            return colour;
    return end;
}

QColor place(Place which, const QPalette& palette) { return text(hueOf(which), palette); }
QColor placeTint(Place which, const QPalette& palette) { return tint(hueOf(which), palette, 0.07, 0.13); }

QColor laneColour(int index, const QPalette& palette)
{
    const QRgb hue = laneHues[std::size_t(index < 0 ? -index : index) % laneHues.size()];
    // On the strongest of the bands' tints, so that it holds on all of them.
    return fitted(QColor(hue), tint(green, palette, 0.12, 0.16), 3.2);
}

QColor quiet(const QPalette& palette)
{
    const QColor onBands = fitted(mixed(palette.color(QPalette::Text), palette.color(QPalette::Base), 0.45),
                                  tint(green, palette, 0.12, 0.22), 4.6);
    return fitted(onBands, selectionTint(palette), 4.6);
}

QColor warning(const QPalette& palette) { return text(vermillion, palette); }
QColor warningTint(const QPalette& palette) { return tint(vermillion, palette, 0.09, 0.18); }
QColor success(const QPalette& palette) { return text(green, palette); }
QColor successTint(const QPalette& palette) { return tint(green, palette, 0.09, 0.18); }
QColor danger(const QPalette& palette) { return text(0xFFB3261E, palette); }
QColor dangerTint(const QPalette& palette) { return tint(0xFFB3261E, palette, 0.09, 0.2); }
QColor undecidedTint(const QPalette& palette) { return tint(0xFFF0E442, palette, 0.2, 0.16); }
QColor card(const QPalette& palette) { return palette.color(QPalette::Base); }
QColor cardBorder(const QPalette& palette)
{
    return mixed(palette.color(QPalette::Base), palette.color(QPalette::Text), isDark(palette) ? 0.2 : 0.16);
}
QColor hoverTint(const QPalette& palette)
{
    return mixed(palette.color(QPalette::Base), palette.color(QPalette::Text), 0.05);
}
QColor selectionTint(const QPalette& palette) { return tint(blue, palette, 0.14, 0.32); }

QColor outline(const QPalette& palette)
{
    const QColor faint = mixed(palette.color(QPalette::Base), palette.color(QPalette::Text), 0.3);
    return fitted(fitted(faint, palette.color(QPalette::Base), 3.1), palette.color(QPalette::Window), 3.1);
}

QColor focusRing(const QPalette& palette) { return fitted(QColor(blue), selectionTint(palette), 3.2); }
QColor primary(const QPalette& palette) { return filled(green, palette); }
QColor dangerFill(const QPalette& palette) { return filled(0xFFB3261E, palette); }

QFont monospace()
{
    QFont font = QFontDatabase::systemFont(QFontDatabase::FixedFont);
    font.setPointSizeF(QApplication::font().pointSizeF());
    return font;
}

QFont sized(const QFont& base, double factor, bool bold)
{
    QFont font = base;
    if (base.pointSizeF() > 0)
        font.setPointSizeF(base.pointSizeF() * factor);
    else
        font.setPixelSize(int(std::lround(base.pixelSize() * factor)));
    font.setBold(bold);
    return font;
}

int gap(const QWidget* widget) { return std::max(4, QFontMetrics(widget->font()).height() / 2); }

} // namespace espalier::theme
