// SPDX-License-Identifier: MIT
#include "app/history/ref_labels.h"

#include "app/history/words.h"
#include "app/support/theme.h"

#include <QPainterPath>

namespace espalier {

namespace {

// What the user works on first, then where it goes, then names that stay.
int rank(const Snapshot& snapshot, const Ref& ref)
{
    if (isHeadBranch(snapshot, ref))
        return 0;
    if (ref.kind == RefKind::Branch)
        return 1;
    if (ref.kind == RefKind::RemoteBranch)
        return ref.place == Place::Fork ? 2 : ref.place == Place::Upstream ? 3 : 4;
    return ref.kind == RefKind::Tag ? 5 : 6;
}

enum class Shape { Square, Cut, Round, Pointed };

Shape shapeOf(const Ref& ref)
{
    if (ref.kind == RefKind::Tag || ref.kind == RefKind::Other)
        return Shape::Pointed;
    if (ref.place == Place::Upstream)
        return Shape::Square;
    return ref.place == Place::Clone ? Shape::Round : Shape::Cut;
}

QPainterPath outline(const QRectF& r, Shape shape)
{
    QPainterPath path;
    const qreal cut = r.height() * 0.3;
    switch (shape) {
    case Shape::Square:
        path.addRoundedRect(r, 2, 2);
        break;
    case Shape::Round:
        path.addRoundedRect(r, r.height() / 2, r.height() / 2);
        break;
    case Shape::Cut:
        path.addPolygon(QPolygonF{{r.left() + cut, r.top()},
                                  {r.right() - cut, r.top()},
                                  {r.right(), r.top() + cut},
                                  {r.right(), r.bottom() - cut},
                                  {r.right() - cut, r.bottom()},
                                  {r.left() + cut, r.bottom()},
                                  {r.left(), r.bottom() - cut},
                                  {r.left(), r.top() + cut}});
        path.closeSubpath();
        break;
    case Shape::Pointed:
        path.addPolygon(QPolygonF{{r.left() + cut * 1.4, r.top()},
                                  {r.right(), r.top()},
                                  {r.right(), r.bottom()},
                                  {r.left() + cut * 1.4, r.bottom()},
                                  {r.left(), r.center().y()}});
        path.closeSubpath();
        break;
    }
    return path;
}

} // namespace

LabelLook::LabelLook(const QFont& rows, const QPalette& palette)
    : font(theme::sized(rows, 0.88, true))
    , metrics(font)
    , quiet(theme::quiet(palette))
    , base(palette.color(QPalette::Base))
{
    for (std::size_t at = 0; at < place.size(); ++at) {
        place[at] = theme::place(Place(at), palette);
        tint[at] = theme::placeTint(Place(at), palette);
    }
}

std::vector<RefLabel> placeLabels(const Snapshot& snapshot, Row row, const QFontMetricsF& metrics, const QRectF& room)
{
    std::vector<int> refs = snapshot.refsAt(row);
    std::vector<RefLabel> labels;
    const QStringList odd = alterations(snapshot.history, row, false);
    if (refs.empty() && odd.isEmpty())
        return labels;
    std::ranges::stable_sort(refs, {}, [&](int at) { return rank(snapshot, snapshot.refs[std::size_t(at)]); });
    const qreal height = std::ceil(metrics.height() + 4);
    const qreal pad = std::ceil(metrics.height() * 0.6);
    const qreal space = std::ceil(metrics.height() * 0.4);
    const qreal top = std::floor(room.center().y() - height / 2) + 0.5;
    const qreal more = metrics.horizontalAdvance(QStringLiteral("+00")) + 2 * pad;
    qreal x = room.left() + 0.5;
    for (const QString& text : odd) {
        labels.push_back({-1, text, {x, top, std::ceil(metrics.horizontalAdvance(text)) + 2 * pad, height}});
        x = labels.back().rect.right() + space;
    }
    for (std::size_t k = 0; k < refs.size(); ++k) {
        const bool last = k + 1 == refs.size();
        const qreal left = room.right() - x - (last ? 0 : more + space);
        QString text = refLabel(snapshot.refs[std::size_t(refs[k])]);
        qreal width = std::ceil(metrics.horizontalAdvance(text)) + 2 * pad;
        if (width > left && k == 0 && left > 5 * pad) {
            text = metrics.elidedText(text, Qt::ElideMiddle, left - 2 * pad);
            width = std::ceil(metrics.horizontalAdvance(text)) + 2 * pad;
        }
        if (width > left || k == 4) {
            text = QStringLiteral("+%1").arg(refs.size() - k);
            labels.push_back({-1, text, {x, top, std::ceil(metrics.horizontalAdvance(text)) + 2 * pad, height}});
            break;
        }
        labels.push_back({refs[k], text, {x, top, width, height}});
        x += width + space;
    }
    return labels;
}

void paintLabel(QPainter& painter, const Snapshot& snapshot, const RefLabel& label, const LabelLook& look,
                bool isTarget)
{
    const Ref* ref = label.ref < 0 ? nullptr : &snapshot.refs[std::size_t(label.ref)];
    const bool placed = ref && ref->place && ref->kind != RefKind::Tag;
    const QColor colour = placed ? look.place[std::size_t(*ref->place)] : look.quiet;
    const bool filled = ref && isHeadBranch(snapshot, *ref);
    const QColor back = placed ? look.tint[std::size_t(*ref->place)] : look.base;
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setPen(QPen(colour, isTarget ? 2.5 : 1));
    painter.setBrush(filled ? colour : back);
    painter.drawPath(outline(label.rect, ref ? shapeOf(*ref) : Shape::Round));
    painter.setFont(look.font);
    painter.setPen(filled ? look.base : colour);
    QRectF text = label.rect;
    if (ref && shapeOf(*ref) == Shape::Pointed)
        text.translate(label.rect.height() * 0.12, 0);
    painter.drawText(text, Qt::AlignCenter | Qt::TextSingleLine, label.text);
}

} // namespace espalier
