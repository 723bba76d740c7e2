// SPDX-License-Identifier: MIT
#include "app/settle/image_pane.h"

#include "app/support/theme.h"

#include <QBuffer>
#include <QImageReader>
#include <QPainter>

#include <algorithm>
#include <cmath>

namespace espalier {

namespace {

constexpr int widest = 16'384;   // of either edge: what claims to be larger is not drawn
constexpr double mostTimes = 16; // an icon is enlarged so far at most

} // namespace

Result<QImage> readImage(const std::string& bytes)
{
    QByteArray data = QByteArray::fromRawData(bytes.data(), qsizetype(bytes.size()));
    QBuffer buffer(&data);
    buffer.open(QIODevice::ReadOnly);
    QImageReader reader(&buffer);
    reader.setDecideFormatFromContent(true);
    reader.setAutoTransform(true);
    const QSize size = reader.size();
    if (size.width() > widest || size.height() > widest)
        return fail(ErrorKind::Unsupported, "The image is too large to be drawn", {}, "Look at it in another program");
    QImage image = reader.read();
    if (image.isNull())
        return fail(ErrorKind::Unsupported, "The image cannot be drawn", {}, "Look at it in another program");
    return image;
}

ImagePane::ImagePane(QWidget* parent) : QWidget(parent)
{
    setMinimumSize(theme::gap(this) * 6, theme::gap(this) * 6);
    setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Expanding);
}

void ImagePane::setImage(const QImage& image)
{
    m_image = image;
    update();
}

double ImagePane::fitting() const
{
    if (m_image.isNull())
        return 0;
    const int space = theme::gap(this) * 2;
    const double across = std::max(1.0, double(width() - space)) / m_image.width(),
                 down = std::max(1.0, double(height() - space)) / m_image.height();
    const double fits = std::min({across, down, mostTimes});
    return fits >= 1 ? std::floor(fits) : fits;
}

void ImagePane::setScale(double scale)
{
    m_scale = scale;
    update();
}

void ImagePane::paintEvent(QPaintEvent*)
{
    if (m_image.isNull())
        return;
    QPainter painter(this);
    const QSizeF size(m_image.width() * m_scale, m_image.height() * m_scale);
    const QRectF place(std::round((width() - size.width()) / 2), std::round((height() - size.height()) / 2),
                       size.width(), size.height());
    // Squares in two tones of the pane's own ground, so that both black and white marks are seen on it.
    const QColor ground = palette().color(QPalette::Base);
    const bool dark = ground.lightness() < 128;
    painter.fillRect(place, dark ? ground.lighter(160) : ground);
    const int square = theme::gap(this);
    const QColor other = dark ? ground.lighter(220) : ground.darker(112);
    painter.save();
    painter.setClipRect(place);
    for (int y = 0; y * square < place.height(); ++y)
        for (int x = y % 2; x * square < place.width(); x += 2)
            painter.fillRect(QRectF(place.x() + x * square, place.y() + y * square, square, square), other);
    painter.restore();
    painter.setRenderHint(QPainter::SmoothPixmapTransform, m_scale < 1);
    painter.drawImage(place, m_image);
    painter.setPen(theme::quiet(palette()));
    painter.drawRect(place.adjusted(-1, -1, 0, 0));
}

void ImagePane::resizeEvent(QResizeEvent* event)
{
    QWidget::resizeEvent(event);
    Q_EMIT resized();
}

} // namespace espalier
