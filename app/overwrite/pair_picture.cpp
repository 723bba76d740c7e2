// SPDX-License-Identifier: MIT
#include "app/overwrite/pair_picture.h"

#include "app/history/words.h"
#include "app/overwrite/check_words.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHeaderView>
#include <QPainterPath>
#include <QStyledItemDelegate>

namespace espalier {

namespace {

constexpr int branchRole = Qt::UserRole + 1, rowRole = Qt::UserRole + 2;

bool isLoud(CheckState state) { return state == CheckState::Lost; }

QColor stateColour(CheckState state, const QPalette& palette)
{
    switch (state) {
    case CheckState::Lost:
        return theme::danger(palette);
    case CheckState::OnlyFork:
    case CheckState::Edited:
        return theme::warning(palette);
    case CheckState::New:
        return theme::success(palette);
    default:
        return theme::quiet(palette);
    }
}

QString idsOf(const CheckRow& row)
{
    const QString before = row.before ? toText(row.before->id.brief()) : QString();
    const QString now = row.now ? toText(row.now->id.brief()) : QString();
    if (row.state == CheckState::Kept)
        return now;
    return row.before && row.now ? QStringLiteral("%1 \u2192 %2").arg(before, now) : before + now;
}

} // namespace

// Names the bands above their lanes as the history does.
class PairPicture::Header : public QHeaderView {
  public:
    explicit Header(PairPicture* picture) : QHeaderView(Qt::Horizontal, picture), m_picture(picture)
    {
        setSectionsClickable(false);
        setSectionsMovable(false);
        setStretchLastSection(false);
        setMinimumSectionSize(1);
    }

  protected:
    void paintSection(QPainter* painter, const QRect& rect, int section) const override
    {
        if (section != Picture) {
            painter->save();
            QHeaderView::paintSection(painter, rect, section);
            painter->restore();
            return;
        }
        painter->setFont(theme::sized(font(), 1.0, true));
        for (int at = 0; at < 3; ++at) {
            const int left = m_picture->m_bands.left[std::size_t(at)];
            const QRect band(rect.left() + left, rect.top(), m_picture->m_bands.left[std::size_t(at) + 1] - left,
                             rect.height());
            painter->fillRect(band, theme::placeTint(Place(at), palette()));
            painter->setPen(theme::place(Place(at), palette()));
            painter->drawText(band, Qt::AlignCenter | Qt::TextSingleLine, placeWord(Place(at)));
        }
    }

  private:
    PairPicture* m_picture;
};

class PairPicture::Delegate : public QStyledItemDelegate {
  public:
    explicit Delegate(PairPicture* picture) : QStyledItemDelegate(picture), m_picture(picture) {}

    QSize sizeHint(const QStyleOptionViewItem&, const QModelIndex&) const override
    {
        return {10, m_picture->m_painter.geometry().rowHeight()};
    }

    void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override
    {
        painter->save();
        const QModelIndex first = index.siblingAtColumn(Picture);
        const int branch = first.data(branchRole).toInt(), row = first.data(rowRole).toInt();
        const bool isChosen = option.state & QStyle::State_Selected;
        const CheckRow* commit = row < 0 ? nullptr : &m_picture->m_branches[std::size_t(branch)].rows[std::size_t(row)];
        const QPalette& colours = option.palette;
        QColor back = colours.color(QPalette::Base);
        if (isChosen)
            back = theme::selectionTint(colours);
        else if (commit && isLoud(commit->state))
            back = theme::dangerTint(colours);
        painter->fillRect(option.rect, back);
        if (!commit)
            paintHeading(*painter, option, index, back);
        else if (index.column() == Picture)
            m_picture->paintPicture(*painter, option.rect, branch, row, !isChosen && !isLoud(commit->state));
        else
            paintText(*painter, option, index, *commit, back);
        paintEdges(*painter, option, index, commit);
        painter->restore();
    }

  private:
    static void paintHeading(QPainter& painter, const QStyleOptionViewItem& option, const QModelIndex& index,
                             const QColor& back)
    {
        if (index.column() != Picture)
            return;
        const QFont font = theme::sized(option.font, 1.0, true);
        painter.setFont(font);
        painter.setPen(theme::fitted(option.palette.color(QPalette::Text), back, 4.5));
        const QRect room = option.rect.adjusted(option.fontMetrics.height() / 2, 0, 0, 0);
        painter.drawText(room, Qt::AlignVCenter | Qt::TextSingleLine,
                         QFontMetrics(font).elidedText(index.data().toString(), Qt::ElideMiddle, room.width()));
    }
    static void paintText(QPainter& painter, const QStyleOptionViewItem& option, const QModelIndex& index,
                          const CheckRow& commit, const QColor& back)
    {
        QFont font = option.font;
        QColor ink = option.palette.color(QPalette::Text);
        const bool isLoudRow = isLoud(commit.state);
        if (index.column() == State) {
            ink = stateColour(commit.state, option.palette);
            font.setBold(isLoudRow || commit.state == CheckState::Edited || commit.state == CheckState::OnlyFork);
        } else if (index.column() == Author || commit.state == CheckState::Kept) {
            ink = theme::quiet(option.palette);
        }
        if (index.column() == Subject)
            font.setBold(isLoudRow);
        painter.setFont(font);
        painter.setPen(theme::fitted(ink, back, 4.5));
        const int inset = option.fontMetrics.height() / 2;
        const QRect room = option.rect.adjusted(inset, 0, -inset / 2, 0);
        painter.drawText(room, Qt::AlignVCenter | Qt::TextSingleLine,
                         QFontMetrics(font).elidedText(index.data().toString(), Qt::ElideRight, room.width()));
    }
    // What is lost has a bar at both ends of its row; what has the keyboard a ring.
    void paintEdges(QPainter& painter, const QStyleOptionViewItem& option, const QModelIndex& index,
                    const CheckRow* commit) const
    {
        const int bar = std::max(3, option.fontMetrics.height() / 5);
        if (commit && isLoud(commit->state) && index.column() == Picture)
            painter.fillRect(option.rect.left(), option.rect.top(), bar, option.rect.height(),
                             theme::danger(option.palette));
        if (!m_picture->hasFocus() || m_picture->currentIndex().siblingAtColumn(0) != index.siblingAtColumn(0))
            return;
        painter.setPen(QPen(theme::focusRing(option.palette), 1.5));
        painter.setRenderHint(QPainter::Antialiasing, false);
        const QRect whole(0, option.rect.top(), m_picture->viewport()->width(), option.rect.height());
        painter.setClipRect(option.rect);
        painter.drawRect(whole.adjusted(0, 0, -1, -1));
    }

    PairPicture* m_picture;
};

PairPicture::PairPicture(QWidget* parent) : QTreeWidget(parent)
{
    setHeader(new Header(this));
    setColumnCount(ColumnCount);
    setHeaderLabels({tr("On the fork \u2192 in the clone"), tr("What becomes of it"), tr("Subject"), tr("Author")});
    header()->setSectionResizeMode(QHeaderView::Fixed);
    header()->setSectionResizeMode(Subject, QHeaderView::Stretch);
    header()->setDefaultAlignment(Qt::AlignLeft | Qt::AlignVCenter);
    setItemDelegate(new Delegate(this));
    setRootIsDecorated(false);
    setItemsExpandable(false);
    setExpandsOnDoubleClick(false);
    setIndentation(0);
    setUniformRowHeights(true);
    setAllColumnsShowFocus(true);
    setFrameShape(QFrame::NoFrame);
    setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    setAccessibleName(tr("Old commits on the fork and new ones in the clone, newest first"));
    setObjectName(QStringLiteral("pairs"));
    setLook();
    connect(this, &QTreeWidget::currentItemChanged, this, [this] { Q_EMIT chosen(currentBranch(), currentRow()); });
}

PairPicture::~PairPicture() = default;

void PairPicture::setLook()
{
    m_painter.setLook(font(), palette());
    m_painter.setGeometry(GraphGeometry(fontMetrics(), {1, 1, 1}, 0, 0));
    arrange();
    fitHeight();
}

void PairPicture::fitHeight()
{
    constexpr int most = 10000; // no screen has more
    setMaximumHeight(std::max(minimumHeight(), heightOf(std::min(rowCount(), most))));
    updateGeometry();
}

void PairPicture::changeEvent(QEvent* event)
{
    QTreeWidget::changeEvent(event);
    if (event->type() == QEvent::FontChange || event->type() == QEvent::PaletteChange)
        setLook();
}

void PairPicture::resizeEvent(QResizeEvent* event)
{
    QTreeWidget::resizeEvent(event);
    arrange();
}

int PairPicture::heightOf(int rows) const
{
    return header()->sizeHint().height() + rows * m_painter.geometry().rowHeight();
}

QSize PairPicture::sizeHint() const
{
    constexpr int wished = 12; // it takes more where there is room
    return {fontMetrics().averageCharWidth() * 60, heightOf(std::min(rowCount(), wished))};
}

int PairPicture::rowCount() const
{
    int rows = 0;
    for (const PictureBranch& branch : m_branches)
        rows += int(branch.rows.size()) + (branch.heading.isEmpty() ? 0 : 1);
    return rows;
}

void PairPicture::setSnapshot(const SnapshotPtr& snapshot)
{
    m_snapshot = snapshot;
    viewport()->update();
}

int PairPicture::currentBranch() const { return currentItem() ? currentItem()->data(Picture, branchRole).toInt() : -1; }
int PairPicture::currentRow() const { return currentItem() ? currentItem()->data(Picture, rowRole).toInt() : -1; }

void PairPicture::show(std::vector<PictureBranch> branches)
{
    const QSignalBlocker quiet(this);
    m_branches = std::move(branches);
    m_begins.clear();
    for (const PictureBranch& branch : m_branches) {
        const auto first = [&](auto&& is) { return int(std::ranges::find_if(branch.rows, is) - branch.rows.begin()); };
        m_begins.push_back({first([](const CheckRow& row) { return row.before.has_value(); }),
                            first([](const CheckRow& row) {
                                return row.now && row.state != CheckState::Landed && row.state != CheckState::Kept;
                            }),
                            first([](const CheckRow& row) { return row.state == CheckState::Kept; })});
    }
    fill();
    arrange();
    fitHeight();
    QTreeWidgetItem* loudest = nullptr;
    int rank = int(CheckState::Around) + 1; // what a reviewer sees nothing new in is not looked for
    for (QTreeWidgetItemIterator at(this); *at; ++at) {
        const int branch = (*at)->data(Picture, branchRole).toInt(), row = (*at)->data(Picture, rowRole).toInt();
        if (row < 0)
            continue;
        const int own = int(m_branches[std::size_t(branch)].rows[std::size_t(row)].state);
        if (!loudest || own < rank) {
            loudest = *at;
            rank = std::min(rank, own);
        }
    }
    if (!loudest)
        loudest = topLevelItem(0);
    setCurrentItem(loudest);
    if (loudest)
        scrollToItem(loudest, PositionAtCenter);
}

void PairPicture::fill()
{
    clear();
    QList<QTreeWidgetItem*> top;
    for (std::size_t b = 0; b < m_branches.size(); ++b) {
        const PictureBranch& branch = m_branches[b];
        QList<QTreeWidgetItem*> items;
        for (std::size_t r = 0; r < branch.rows.size(); ++r) {
            const CheckRow& row = branch.rows[r];
            const CheckedCommit& commit = row.now ? *row.now : *row.before;
            auto* item =
                new QTreeWidgetItem({idsOf(row), stateWords(row), toText(commit.subject), toText(commit.author)});
            item->setData(Picture, branchRole, int(b));
            item->setData(Picture, rowRole, int(r));
            item->setData(Picture, Qt::AccessibleTextRole, spokenRow(row));
            item->setToolTip(Picture, toToolTip(idsOf(row)));
            item->setToolTip(State, toToolTip(stateMeaning(row)));
            item->setToolTip(Subject, toToolTip(toText(commit.subject)));
            item->setToolTip(Author,
                             toToolTip(toText(commit.author) + QStringLiteral(", ") + relativeTime(commit.authorTime)));
            items << item;
        }
        if (branch.heading.isEmpty()) {
            top += items;
            continue;
        }
        auto* heading = new QTreeWidgetItem({branch.heading});
        heading->setData(Picture, branchRole, int(b));
        heading->setData(Picture, rowRole, -1);
        heading->setToolTip(Picture, toToolTip(branch.heading));
        heading->addChildren(items);
        top << heading;
    }
    addTopLevelItems(top);
    for (int at = 0; at < topLevelItemCount(); ++at)
        if (topLevelItem(at)->data(Picture, rowRole).toInt() < 0)
            topLevelItem(at)->setFirstColumnSpanned(true);
    expandAll();
}

int PairPicture::wantedWidth(Column column) const
{
    QFont font = this->font();
    font.setBold(column == State);
    const QFontMetrics metrics(font);
    int width = metrics.horizontalAdvance(headerItem()->text(column));
    constexpr std::size_t looked = 500; // rows that say more than these do is elided
    for (const PictureBranch& branch : m_branches)
        for (std::size_t at = 0; at < std::min(branch.rows.size(), looked); ++at) {
            const CheckRow& row = branch.rows[at];
            width = std::max(width, metrics.horizontalAdvance(column == State
                                                                  ? stateWords(row)
                                                                  : toText((row.now ? row.now : row.before)->author)));
        }
    return width + fontMetrics().height();
}

// The columns, from what must be there to what is nice to have.
void PairPicture::arrange()
{
    const int em = fontMetrics().averageCharWidth(), gap = m_painter.geometry().gap();
    const int room = viewport()->width();
    const int mark = int(std::ceil(m_painter.geometry().mark({}).width()));
    const QFontMetrics bold(theme::sized(font(), 1.0, true));
    const int id = QFontMetrics(theme::sized(theme::monospace(), 0.92)).horizontalAdvance(QStringLiteral("0000000"));
    const auto heading = [&](Place place) { return bold.horizontalAdvance(placeWord(place)) + 3 * gap; };
    const int upstream = std::max(heading(Place::Upstream), mark + 4 * gap);
    const int narrow = std::max(heading(Place::Fork), mark + 6 * gap), wide = std::max(narrow, id + mark + 7 * gap);
    const int state = std::min(wantedWidth(State), em * 24), least = em * 22;
    m_bands.withIds = room >= upstream + 2 * wide + state + least;
    const int band = m_bands.withIds ? wide : narrow;
    m_bands.left = {0, upstream, upstream + band, upstream + 2 * band};
    m_bands.lane[0] = upstream / 2;
    // The two lanes stand towards each other, the ids outside.
    const qreal inset = m_bands.withIds ? 3.5 * gap + mark / 2.0 : band / 2.0;
    m_bands.lane[1] = std::floor(m_bands.left[2] - inset);
    m_bands.lane[2] = std::floor(m_bands.left[2] + inset);
    const int author = std::min(wantedWidth(Author), em * 22);
    const bool withAuthor = room >= m_bands.left[3] + state + author + em * 30;
    header()->resizeSection(Picture, m_bands.left[3]);
    header()->resizeSection(State, std::min(state, std::max(em * 8, room - m_bands.left[3] - em * 10)));
    header()->resizeSection(Author, author);
    setColumnHidden(Author, !withAuthor);
    Q_EMIT bandsChanged();
}

Places PairPicture::placesOf(const Oid& id, Places otherwise) const
{
    const Row row = m_snapshot ? m_snapshot->history.find(id) : noRow;
    return Places(otherwise | (row == noRow ? Places(0) : m_snapshot->placesOf(row)));
}

void PairPicture::paintPicture(QPainter& painter, const QRect& area, int branch, int rowAt, bool withBands) const
{
    const CheckRow& row = m_branches[std::size_t(branch)].rows[std::size_t(rowAt)];
    if (withBands)
        for (int at = 0; at < 3; ++at) {
            const int left = m_bands.left[std::size_t(at)];
            painter.fillRect(area.left() + left, area.top(), m_bands.left[std::size_t(at) + 1] - left, area.height(),
                             theme::placeTint(Place(at), palette()));
        }
    paintLines(painter, area, branch, rowAt);
    const qreal middle = area.top() + area.height() / 2.0;
    const auto node = [&](Place place) { return QPointF(area.left() + m_bands.x(place), middle); };
    const Places fork = placeBit(Place::Fork), clone = placeBit(Place::Clone);
    const QPointF old = node(Place::Fork);
    const QPointF now = node(row.state == CheckState::Landed ? Place::Upstream : Place::Clone);
    if (row.state != CheckState::Kept)
        paintJoin(painter, old, now, row);
    if (row.state == CheckState::Kept) {
        m_painter.paintMark(painter, old, placesOf(row.now->id, Places(fork | clone)), false, false);
    } else {
        if (row.before)
            m_painter.paintMark(painter, old, placesOf(row.before->id, fork), false, false);
        if (row.now)
            m_painter.paintMark(
                painter, now,
                placesOf(row.now->id, row.state == CheckState::Landed ? placeBit(Place::Upstream) : clone), false,
                false);
    }
    if (m_bands.withIds)
        paintIds(painter, area, row);
}

// Down from the newest commit of each lane to the end, where the bases follow.
void PairPicture::paintLines(QPainter& painter, const QRect& area, int branch, int at) const
{
    const auto& rows = m_branches[std::size_t(branch)].rows;
    const Begins& begins = m_begins[std::size_t(branch)];
    const CheckRow& row = rows[std::size_t(at)];
    const qreal middle = area.top() + area.height() / 2.0, bottom = area.bottom() + 1;
    painter.setRenderHint(QPainter::Antialiasing, false);
    const auto penOf = [&](Place place, bool broken) {
        QPen pen(m_painter.colourOf({place, 0}), m_painter.geometry().lineWidth());
        pen.setCapStyle(Qt::FlatCap);
        if (broken)
            pen.setDashPattern({2, 2});
        return pen;
    };
    // Beside a commit that has moved the old ones did not follow each other like this.
    const bool broken = row.moved || (at > 0 && rows[std::size_t(at) - 1].moved);
    const qreal fork = area.left() + m_bands.x(Place::Fork), clone = area.left() + m_bands.x(Place::Clone);
    if (at >= begins.old) {
        painter.setPen(penOf(Place::Fork, broken));
        painter.drawLine(QPointF(fork, at == begins.old ? middle : area.top()), QPointF(fork, bottom));
    }
    painter.setPen(penOf(Place::Clone, false));
    if (at == begins.kept && begins.now < at) {
        // Here the new version leaves what both have.
        QPainterPath path(QPointF(clone, area.top()));
        const qreal radius = std::min<qreal>(area.height() / 2.0, clone - fork);
        path.cubicTo(QPointF(clone, middle), QPointF(clone, middle), QPointF(clone - radius, middle));
        path.lineTo(fork, middle);
        painter.setRenderHint(QPainter::Antialiasing, true);
        painter.setBrush(Qt::NoBrush);
        painter.drawPath(path);
    } else if (at < begins.kept && at >= begins.now) {
        painter.drawLine(QPointF(clone, at == begins.now ? middle : area.top()), QPointF(clone, bottom));
    }
}

void PairPicture::paintJoin(QPainter& painter, QPointF from, QPointF to, const CheckRow& row) const
{
    const qreal side = to.x() < from.x() ? -1 : 1, mark = m_painter.geometry().mark({}).width() / 2 + 3;
    const QPointF left(from.x() + side * mark, from.y()), right(to.x() - side * mark, to.y());
    const QColor colour =
        theme::fitted(stateColour(row.state, palette()),
                      isLoud(row.state) ? theme::dangerTint(palette()) : theme::placeTint(Place::Fork, palette()), 3.2);
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setBrush(Qt::NoBrush);
    const qreal size = fontMetrics().height() * 0.32;
    if (!row.now) {
        // Cut off: a line that ends before it reaches the clone; in a cross where the commit is lost.
        const bool lost = isLoud(row.state);
        QPen pen(colour, lost ? m_painter.geometry().lineWidth() + 1 : 1.6);
        pen.setStyle(lost ? Qt::SolidLine : Qt::DashLine);
        painter.setPen(pen);
        const QPointF end(right.x() + mark, right.y());
        painter.drawLine(left, QPointF(end.x() - size, end.y()));
        pen.setStyle(Qt::SolidLine);
        pen.setWidthF(lost ? m_painter.geometry().lineWidth() + 1.4 : 1.6);
        painter.setPen(pen);
        if (lost) {
            painter.drawLine(end + QPointF(-size, -size), end + QPointF(size, size));
            painter.drawLine(end + QPointF(-size, size), end + QPointF(size, -size));
        } else {
            painter.drawLine(end + QPointF(-size, -size), end + QPointF(-size, size));
        }
        return;
    }
    painter.setPen(QPen(colour, row.state == CheckState::Edited ? 2.0 : 1.4));
    const QPointF middle((left.x() + right.x()) / 2, from.y());
    if (row.before)
        painter.drawLine(left, right);
    const QString sign = joinSign(row.state);
    if (sign.isEmpty())
        return;
    QFont font = theme::sized(this->font(), 0.95, true);
    const qreal radius = fontMetrics().height() * 0.5;
    painter.setBrush(palette().color(QPalette::Base));
    painter.drawEllipse(middle, radius, radius);
    painter.setFont(font);
    painter.setPen(theme::fitted(colour, palette().color(QPalette::Base), 4.5));
    painter.drawText(QRectF(middle.x() - radius, middle.y() - radius, 2 * radius, 2 * radius), Qt::AlignCenter, sign);
}

void PairPicture::paintIds(QPainter& painter, const QRect& area, const CheckRow& row) const
{
    painter.setFont(theme::sized(theme::monospace(), 0.92));
    painter.setPen(theme::fitted(theme::quiet(palette()), theme::dangerTint(palette()), 4.5));
    const int gap = m_painter.geometry().gap();
    const int mark = int(std::ceil(m_painter.geometry().mark({}).width() / 2));
    const int fork = area.left() + int(m_bands.x(Place::Fork)), clone = area.left() + int(m_bands.x(Place::Clone));
    const int left = area.left() + m_bands.left[1];
    if (row.before && row.state == CheckState::Landed) // what joins it goes to the left
        painter.drawText(QRect(fork + mark + gap / 2, area.top(), clone - fork - 2 * mark, area.height()),
                         Qt::AlignLeft | Qt::AlignVCenter | Qt::TextSingleLine, toText(row.before->id.brief()));
    else if (row.before)
        painter.drawText(QRect(left, area.top(), fork - mark - gap - left, area.height()),
                         Qt::AlignRight | Qt::AlignVCenter | Qt::TextSingleLine, toText(row.before->id.brief()));
    if (row.now && row.state != CheckState::Kept && row.state != CheckState::Landed)
        painter.drawText(QRect(clone + mark + gap, area.top(), m_bands.left[3] - (clone - area.left()), area.height()),
                         Qt::AlignLeft | Qt::AlignVCenter | Qt::TextSingleLine, toText(row.now->id.brief()));
}

} // namespace espalier
