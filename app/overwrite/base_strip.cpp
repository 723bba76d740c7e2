// SPDX-License-Identifier: MIT
#include "app/overwrite/base_strip.h"

#include "app/overwrite/pair_picture.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QPainterPath>

namespace espalier {

BaseStrip::BaseStrip(const PairPicture* picture, QWidget* parent) : QWidget(parent), m_picture(picture)
{
    setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Expanding);
    setObjectName(QStringLiteral("bases"));
    connect(picture, &PairPicture::bandsChanged, this, qOverload<>(&QWidget::update));
    hide();
}

void BaseStrip::show(const std::optional<BranchDifference>& difference, bool fork, bool clone)
{
    m_oldBase = difference ? difference->oldBase : CommitSummary();
    m_newBase = difference ? difference->newBase : CommitSummary();
    m_between = difference ? difference->upstreamCommits : 0;
    m_fork = fork;
    m_clone = clone;
    const bool known = !m_newBase.id.isZero();
    setAccessibleName(known ? words(true) + (isOne() ? QString() : QStringLiteral("; ") + words(false)) : QString());
    setToolTip(toToolTip(accessibleName()));
    setVisible((fork || clone) && (known || !difference));
    updateGeometry();
    update();
}

QSize BaseStrip::sizeHint() const
{
    const int row = m_picture->painter().geometry().rowHeight();
    return {100, m_newBase.id.isZero() || !isOne() ? 2 * row : row};
}

QString BaseStrip::words(bool ofClone) const
{
    const CommitSummary& base = ofClone ? m_newBase : m_oldBase;
    const QString id = toText(base.id.brief()), subject = toText(base.subject);
    if (hasOld() && isOne())
        return tr("Both versions stand on %1 %2").arg(id, subject);
    if (ofClone)
        return tr("Yours stands on %1 %2").arg(id, subject);
    return tr("The fork's stands on %1, %2 of the upstream before, %3")
        .arg(id, toText(counted(m_between, "commit", "commits")), subject);
}

void BaseStrip::paintEvent(QPaintEvent*)
{
    QPainter painter(this);
    const GraphPainter& look = m_picture->painter();
    const PictureBands& bands = m_picture->bands();
    for (int at = 0; at < 3; ++at) {
        const int left = bands.left[std::size_t(at)];
        painter.fillRect(left, 0, bands.left[std::size_t(at) + 1] - left, height(),
                         theme::placeTint(Place(at), palette()));
    }
    const qreal row = look.geometry().rowHeight();
    const qreal upstream = bands.x(Place::Upstream);
    const auto curve = [&](Place place, qreal y) {
        QPen pen(look.colourOf({place, 0}), look.geometry().lineWidth());
        pen.setCapStyle(Qt::FlatCap);
        painter.setPen(pen);
        painter.setBrush(Qt::NoBrush);
        painter.setRenderHint(QPainter::Antialiasing, true);
        const qreal x = bands.x(place), radius = row / 2;
        QPainterPath path(QPointF(x, 0));
        path.lineTo(x, y - radius);
        path.cubicTo(QPointF(x, y), QPointF(x, y), QPointF(x - radius, y));
        path.lineTo(upstream, y);
        painter.drawPath(path);
    };
    const auto text = [&](qreal y, const QString& line) {
        const int left = bands.left[3] + fontMetrics().height() / 2;
        const QRect room(left, int(y - row / 2), width() - left, int(row));
        painter.setPen(theme::quiet(palette()));
        painter.drawText(room, Qt::AlignVCenter | Qt::TextSingleLine,
                         fontMetrics().elidedText(line, Qt::ElideRight, room.width()));
    };
    if (m_newBase.id.isZero())
        return;
    const qreal newer = row / 2, older = isOne() ? newer : row * 1.5;
    painter.setPen(QPen(look.colourOf({Place::Upstream, 0}), look.geometry().lineWidth()));
    painter.drawLine(QPointF(upstream, 0), QPointF(upstream, height()));
    if (m_clone)
        curve(Place::Clone, newer);
    if (m_fork)
        curve(Place::Fork, older);
    const Places all = Places(placeBit(Place::Upstream) | placeBit(Place::Fork) | placeBit(Place::Clone));
    const Places newest = hasOld() && isOne() ? all : Places(placeBit(Place::Upstream) | placeBit(Place::Clone));
    look.paintMark(painter, {upstream, newer}, newest, false, false);
    text(newer, words(true));
    if (!isOne()) {
        look.paintMark(painter, {upstream, older}, all, false, false);
        text(older, words(false));
    }
}

} // namespace espalier
