// SPDX-License-Identifier: MIT
#include "app/walkthrough/walkthrough_page.h"

#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/walkthrough/walkthrough_scene.h"

#include <QKeyEvent>
#include <QPainter>
#include <QPainterPath>
#include <QPushButton>
#include <QVBoxLayout>
#include <QVariantAnimation>

namespace espalier {

namespace {

// Draws a scene: time from left to right, the three places from top to bottom.
class SceneView : public QWidget {
  public:
    explicit SceneView(QWidget* parent) : QWidget(parent)
    {
        setMinimumHeight(fontMetrics().height() * 14);
        setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Expanding);
        m_appear.setDuration(350);
        m_appear.setStartValue(0.0);
        m_appear.setEndValue(1.0);
        connect(&m_appear, &QVariantAnimation::valueChanged, this, [this] { update(); });
    }

    void show(const Scene& scene)
    {
        m_scene = scene;
        setAccessibleName(scene.title);
        setAccessibleDescription(scene.text);
        // A style that does not animate is how a desktop says that motion is not wanted.
        if (style()->styleHint(QStyle::SH_Widget_Animation_Duration, nullptr, this) > 0 && isVisible())
            m_appear.start();
        else
            m_appear.setCurrentTime(m_appear.duration());
        update();
    }

  protected:
    void paintEvent(QPaintEvent*) override
    {
        QPainter painter(this);
        painter.setRenderHint(QPainter::Antialiasing);
        paintBands(painter);
        for (const SceneCommit& commit : m_scene.commits)
            if (commit.parent >= 0)
                paintEdge(painter, commit, m_scene.commits[std::size_t(commit.parent)]);
        for (const SceneCommit& commit : m_scene.commits)
            paintCommit(painter, commit);
    }

  private:
    int nameWidth() const { return fontMetrics().height() * 6; }
    QPointF pointOf(const SceneCommit& commit) const
    {
        int last = 6;
        for (const SceneCommit& other : m_scene.commits)
            last = std::max(last, other.column);
        const double step = double(width() - nameWidth() - fontMetrics().height() * 5) / last;
        const double band = height() / 3.0;
        return {nameWidth() + fontMetrics().height() * 2 + step * commit.column, band * (int(commit.place) + 0.5)};
    }

    void paintBands(QPainter& painter)
    {
        const double band = height() / 3.0;
        const QString names[] = {tr("upstream"), tr("fork"), tr("clone")};
        painter.setFont(theme::sized(font(), 1.0, true));
        for (int i = 0; i < 3; ++i) {
            const QRectF room(0, band * i, width(), band - 2);
            painter.setPen(Qt::NoPen);
            painter.setBrush(theme::placeTint(Place(i), palette()));
            painter.drawRoundedRect(room, theme::gap(this) * 0.75, theme::gap(this) * 0.75);
            painter.setPen(theme::place(Place(i), palette()));
            painter.drawText(room.adjusted(theme::gap(this) * 2, theme::gap(this) * 3 / 2, 0, 0),
                             int(Qt::AlignLeft | Qt::AlignTop), names[i]);
        }
    }

    double opacityOf(const SceneCommit& commit) const
    {
        const double shown = commit.fresh ? m_appear.currentValue().toDouble() : 1.0;
        return commit.faded ? 0.4 : shown;
    }

    void paintEdge(QPainter& painter, const SceneCommit& commit, const SceneCommit& parent)
    {
        const QPointF from = pointOf(parent), to = pointOf(commit);
        painter.setOpacity(opacityOf(commit));
        QPen pen(theme::place(commit.place, palette()), 2.4);
        if (commit.faded)
            pen.setStyle(Qt::DashLine);
        painter.setPen(pen);
        painter.setBrush(Qt::NoBrush);
        QPainterPath path(from);
        const double middle = (from.x() + to.x()) / 2;
        path.cubicTo(QPointF(middle, from.y()), QPointF(middle, to.y()), to);
        painter.drawPath(path);
        painter.setOpacity(1);
    }

    void paintCommit(QPainter& painter, const SceneCommit& commit)
    {
        const QPointF at = pointOf(commit);
        const double radius = fontMetrics().height() * 0.55;
        const QColor colour = theme::place(commit.place, palette());
        painter.setOpacity(opacityOf(commit));
        if (commit.wanted) {
            painter.setPen(QPen(palette().color(QPalette::Text), 2, Qt::DotLine));
            painter.setBrush(Qt::NoBrush);
            painter.drawEllipse(at, radius * 1.7, radius * 1.7);
        }
        painter.setPen(QPen(colour, 2.4));
        painter.setBrush(commit.faded ? palette().color(QPalette::Base) : colour);
        painter.drawEllipse(at, radius, radius);
        // What fades keeps words that can be read.
        painter.setOpacity(commit.faded ? 1 : opacityOf(commit));
        painter.setPen(commit.faded ? theme::quiet(palette()) : palette().color(QPalette::Text));
        painter.setFont(font());
        const double line = fontMetrics().height();
        // The ring around a wanted base needs room of its own.
        const double below = at.y() + radius * (commit.wanted ? 1.8 : 1) + 3;
        const double above = at.y() - radius * (commit.wanted ? 1.8 : 1) - line * 1.4;
        painter.drawText(QRectF(at.x() - line * 4, below, line * 8, line * 1.2), int(Qt::AlignHCenter), commit.id);
        if (!commit.label.isEmpty()) {
            painter.setFont(theme::sized(font(), 1.0, true));
            painter.setPen(colour);
            const QString label = painter.fontMetrics().elidedText(commit.label, Qt::ElideMiddle, int(line * 12));
            const double wide = painter.fontMetrics().horizontalAdvance(label) + 2;
            const double left = std::min(at.x() - wide / 2, width() - wide - theme::gap(this) / 2.0);
            painter.drawText(QRectF(left, above, wide, line * 1.2), int(Qt::AlignHCenter), label);
        }
        painter.setOpacity(1);
    }

    Scene m_scene;
    QVariantAnimation m_appear;
};

} // namespace

struct WalkthroughPage::Private {
    std::vector<Scene> scenes;
    int step = 0;
    SceneView* view = nullptr;
    PlainLabel* count = nullptr;
    PlainLabel* title = nullptr;
    PlainLabel* text = nullptr;
    QPushButton* back = nullptr;
    QPushButton* next = nullptr;
    QPushButton* close = nullptr;
};

WalkthroughPage::WalkthroughPage(QWidget* parent) : QWidget(parent), d(std::make_unique<Private>())
{
    setAccessibleName(tr("Walkthrough"));
    setFocusPolicy(Qt::StrongFocus);
    const int space = theme::gap(this);
    auto* column = new QVBoxLayout(this);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(space);
    auto* head = new PageHead(QString(), this);
    d->title = head->title();
    d->text = head->sentence();
    d->text->setFont(theme::sized(font(), 1.1));
    // What most steps need at the usual width: the picture below stays where it is from step to step.
    d->text->setMinimumHeight(QFontMetrics(d->text->font()).lineSpacing() * 2);
    d->text->setAlignment(Qt::AlignTop | Qt::AlignLeft);
    d->text->show();
    d->close = new QPushButton(tr("&Close"), head);
    head->addAction(d->close);
    auto* card = new Card(this);
    auto* inside = new QVBoxLayout(card);
    inside->setContentsMargins(space * 3 / 2, space * 3 / 2, space * 3 / 2, space * 3 / 2);
    d->view = new SceneView(card);
    d->view->setFont(theme::sized(font(), 1.15));
    inside->addWidget(d->view);
    d->back = new QPushButton(tr("Bac&k"), this);
    d->next = new QPushButton(tr("&Next step"), this);
    d->next->setDefault(true);
    d->count = new PlainLabel(this);
    page::quieten(d->count);
    d->back->setObjectName(QStringLiteral("back"));
    d->next->setObjectName(QStringLiteral("next"));
    d->close->setObjectName(QStringLiteral("close"));
    auto* row = new QHBoxLayout;
    row->setSpacing(space);
    row->addWidget(d->back);
    row->addWidget(d->next);
    row->addSpacing(space);
    row->addWidget(d->count, 1);
    column->addWidget(head);
    column->addWidget(card, 1);
    column->addLayout(row);
    connect(d->back, &QPushButton::clicked, this, [this] { setStep(d->step - 1); });
    connect(d->next, &QPushButton::clicked, this, [this] {
        if (d->step + 1 < stepCount())
            setStep(d->step + 1);
        else
            Q_EMIT closed();
    });
    connect(d->close, &QPushButton::clicked, this, &WalkthroughPage::closed);
    showExample();
}

WalkthroughPage::~WalkthroughPage() = default;

void WalkthroughPage::showExample()
{
    d->scenes = scenesOf(exampleStory());
    setStep(0);
}

void WalkthroughPage::showRun(const DryRun& run)
{
    d->scenes = scenesOf(storyOf(run));
    setStep(0);
}

void WalkthroughPage::keyPressEvent(QKeyEvent* event)
{
    switch (event->key()) {
    case Qt::Key_Right:
        setStep(d->step + 1);
        break;
    case Qt::Key_Left:
        setStep(d->step - 1);
        break;
    case Qt::Key_Home:
        setStep(0);
        break;
    case Qt::Key_End:
        setStep(stepCount() - 1);
        break;
    case Qt::Key_Escape:
        Q_EMIT closed();
        break;
    default:
        QWidget::keyPressEvent(event);
    }
}

int WalkthroughPage::step() const { return d->step; }
int WalkthroughPage::stepCount() const { return int(d->scenes.size()); }

void WalkthroughPage::setStep(int step)
{
    if (step < 0 || step >= stepCount())
        return;
    d->step = step;
    const Scene& scene = d->scenes[std::size_t(step)];
    d->count->setText(tr("Step %1 of %2").arg(step + 1).arg(stepCount()));
    d->title->setText(scene.title);
    d->text->setText(scene.text);
    d->view->show(scene);
    d->back->setEnabled(step > 0);
    d->next->setText(step + 1 < stepCount() ? tr("&Next step") : tr("&Done"));
    Q_EMIT stepChanged(step);
}

} // namespace espalier
