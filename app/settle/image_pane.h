// SPDX-License-Identifier: MIT
//
// Two versions of an image as they are looked at side by side: both at the same scale, on a ground that shows what is
// transparent. Private to app/settle.
//
//     Result<QImage> image = readImage(bytes);          // on a worker thread
//     pane->setImage(*image);
//     pane->setScale(std::min(pane->fitting(), other->fitting()));
#pragma once

#include "core/git/error.h"

#include <QImage>
#include <QWidget>

#include <string>

namespace espalier {

// Errors: Unsupported, when this is no image that can be drawn here, or one that is too large.
Result<QImage> readImage(const std::string& bytes);

class ImagePane : public QWidget {
    Q_OBJECT
  public:
    explicit ImagePane(QWidget* parent = nullptr);

    void setImage(const QImage& image);
    const QImage& image() const { return m_image; }
    // Pixels of the widget for one of the image; a whole number where it is enlarged. 0: there is no image.
    double fitting() const;
    void setScale(double scale);
    double scale() const { return m_scale; }

  Q_SIGNALS:
    void resized();

  protected:
    void paintEvent(QPaintEvent* event) override;
    void resizeEvent(QResizeEvent* event) override;

  private:
    QImage m_image;
    double m_scale = 1;
};

} // namespace espalier
