// SPDX-License-Identifier: MIT
#include "app/window/start_page.h"

#include "app/support/page.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/samples/samples.h"

#include <QApplication>
#include <QHBoxLayout>
#include <QListWidget>
#include <QPainter>
#include <QPushButton>
#include <QStyledItemDelegate>
#include <QVBoxLayout>

namespace espalier {

namespace {

enum Role { Name = Qt::UserRole, About, Mark, Path };

// Paths have no spaces to break at.
int wrapping(const QModelIndex& index) { return index.data(Path).isValid() ? Qt::TextWrapAnywhere : Qt::TextWordWrap; }

// A name, what it is in up to two quiet lines, and a mark at the right.
class EntryDelegate : public QStyledItemDelegate {
  public:
    using QStyledItemDelegate::QStyledItemDelegate;

    QSize sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const override
    {
        const int line = option.fontMetrics.height();
        const QListView* list = qobject_cast<const QListView*>(option.widget);
        const int room = (list ? list->viewport()->width() : option.rect.width()) - 2 * (line / 2);
        const QRect about = option.fontMetrics.boundingRect(QRect(0, 0, std::max(room, line * 8), line * 4),
                                                            wrapping(index), index.data(About).toString());
        return {line * 10, line + std::clamp(about.height(), line, line * 2) + line};
    }

    void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override
    {
        QStyleOptionViewItem item = option;
        initStyleOption(&item, index);
        const QStyle* style = item.widget ? item.widget->style() : QApplication::style();
        style->drawPrimitive(QStyle::PE_PanelItemViewItem, &item, painter, item.widget);
        painter->save();
        const int line = option.fontMetrics.height();
        const QRect room = option.rect.adjusted(line / 2, line / 2, -line / 2, -line / 2);
        const QString mark = index.data(Mark).toString();
        painter->setFont(option.font);
        painter->setPen(theme::quiet(option.palette));
        painter->drawText(QRect(room.left(), room.top(), room.width(), line), Qt::AlignRight | Qt::AlignVCenter, mark);
        painter->drawText(room.adjusted(0, line, 0, 0), Qt::AlignLeft | Qt::AlignTop | wrapping(index),
                          index.data(About).toString());
        painter->setFont(theme::sized(option.font, 1.0, true));
        painter->setPen(option.palette.color(QPalette::Text));
        const int width = room.width() - (mark.isEmpty() ? 0 : option.fontMetrics.horizontalAdvance(mark) + line);
        painter->drawText(QRect(room.left(), room.top(), width, line), Qt::AlignLeft | Qt::AlignVCenter,
                          painter->fontMetrics().elidedText(index.data(Name).toString(), Qt::ElideMiddle, width));
        painter->restore();
        if (option.state & QStyle::State_HasFocus) {
            QStyleOptionFocusRect ring;
            ring.rect = option.rect;
            ring.palette = option.palette;
            ring.fontMetrics = option.fontMetrics;
            ring.state = option.state;
            style->drawPrimitive(QStyle::PE_FrameFocusRect, &ring, painter, option.widget);
        }
    }
};

// As tall as its rows where there is room for them.
class EntryList : public QListWidget {
  public:
    explicit EntryList(QWidget* parent) : QListWidget(parent)
    {
        setItemDelegate(new EntryDelegate(this));
        setFrameShape(QFrame::NoFrame);
        setResizeMode(QListView::Adjust);
        setMouseTracking(true);
        setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
        setVerticalScrollMode(QAbstractItemView::ScrollPerPixel);
    }

    QSize sizeHint() const override { return {QListWidget::sizeHint().width(), maximumHeight()}; }
    void fit()
    {
        int height = 2;
        for (int i = 0; i < count(); ++i)
            height += sizeHintForRow(i);
        if (height == maximumHeight())
            return;
        setMaximumHeight(height);
        updateGeometry();
    }

  protected:
    void resizeEvent(QResizeEvent* event) override
    {
        QListWidget::resizeEvent(event);
        fit();
    }
};

} // namespace

StartPage::StartPage(QWidget* parent) : QWidget(parent)
{
    QVBoxLayout* column = page::readableColumn(this);
    const int space = theme::gap(this);
    column->setSpacing(space * 2);
    column->setContentsMargins(0, space * 3, 0, space * 2);
    buildHead(column);
    // The two cards are as tall as the longer one needs, and no taller.
    auto* both = new QWidget(this);
    both->setSizePolicy(QSizePolicy::Preferred, QSizePolicy::Maximum);
    auto* lists = new QHBoxLayout(both);
    lists->setContentsMargins(0, 0, 0, 0);
    lists->setSpacing(space * 2);
    m_recentCard = new Card(this);
    m_recent = addList(page::tableColumn(m_recentCard), tr("Opened before"));
    static_cast<QBoxLayout*>(m_recentCard->layout())->addStretch(1);
    auto* samplesCard = new Card(this);
    auto* inside = page::tableColumn(samplesCard);
    m_samples = addList(inside, tr("Samples to try on"));
    auto* foot = new QHBoxLayout;
    m_keptWords = new PlainLabel(samplesCard);
    m_keptWords->setWrapped(true);
    page::quieten(m_keptWords);
    m_remove = new QPushButton(tr("Re&move…"), samplesCard);
    m_remove->setObjectName(QStringLiteral("removeSample"));
    foot->addWidget(m_keptWords, 1);
    foot->addWidget(m_remove);
    page::addToTable(inside, foot);
    inside->addStretch(1);
    lists->addWidget(m_recentCard, 1);
    lists->addWidget(samplesCard, 1);
    column->addWidget(both, 1000);
    column->addStretch(1);
    fillSamples();
    connect(m_recent, &QListWidget::itemActivated, this,
            [this](const QListWidgetItem* item) { Q_EMIT pathChosen(item->data(Path).toString()); });
    connect(m_samples, &QListWidget::itemActivated, this,
            [this](const QListWidgetItem* item) { Q_EMIT sampleChosen(item->data(Name).toString()); });
    connect(m_samples, &QListWidget::currentItemChanged, this, &StartPage::judge);
    connect(m_remove, &QPushButton::clicked, this, [this] {
        if (const QListWidgetItem* item = m_samples->currentItem())
            Q_EMIT removeSampleRequested(item->data(Name).toString());
    });
    setRecent({});
    setOpened({});
    judge();
}

void StartPage::buildHead(QBoxLayout* column)
{
    const int space = theme::gap(this);
    auto* title = new PlainLabel(tr("Espalier"), this);
    title->setFont(theme::sized(font(), 2, true));
    auto* sentence =
        new PlainLabel(tr("Clone, fork and upstream as one history: see how far your topic branches have drifted, "
                          "drag them onto a new base, and look at the outcome before anything is touched."),
                       this);
    sentence->setWrapped(true);
    sentence->setFont(theme::sized(font(), 1.1));
    auto* buttons = new QHBoxLayout;
    buttons->setSpacing(space);
    m_open = new QPushButton(tr("&Open a repository…"), this);
    m_open->setDefault(true);
    setFocusProxy(m_open);
    auto* clone = new QPushButton(tr("C&lone…"), this);
    auto* walk = new QPushButton(tr("What does a rewrite &do?"), this);
    m_back = new QPushButton(this);
    m_back->setObjectName(QStringLiteral("back"));
    for (QPushButton* button : {m_open, clone, walk})
        buttons->addWidget(button);
    buttons->addStretch(1);
    buttons->addWidget(m_back);
    auto* words = new QVBoxLayout;
    words->setSpacing(space);
    words->addWidget(title);
    words->addWidget(sentence);
    column->addLayout(words);
    column->addLayout(buttons);
    connect(m_open, &QPushButton::clicked, this, &StartPage::openRequested);
    connect(clone, &QPushButton::clicked, this, &StartPage::cloneRequested);
    connect(walk, &QPushButton::clicked, this, &StartPage::walkthroughRequested);
    connect(m_back, &QPushButton::clicked, this, &StartPage::backRequested);
}

QListWidget* StartPage::addList(QBoxLayout* column, const QString& title)
{
    auto* label = new PlainLabel(title, this);
    label->setFont(theme::sized(font(), 1.15, true));
    page::addToTable(column, label);
    auto* list = new EntryList(this);
    list->setAccessibleName(title);
    column->addWidget(list, 1000);
    return list;
}

void StartPage::fillSamples()
{
    const QString chosen = m_samples->currentItem() ? m_samples->currentItem()->data(Name).toString() : QString();
    const QSignalBlocker quiet(m_samples);
    m_samples->clear();
    const auto add = [&](const QString& name, const QString& about, bool kept) {
        auto* item = new QListWidgetItem(name, m_samples);
        item->setData(Name, name);
        item->setData(About, about);
        item->setData(Mark, kept ? tr("kept") : QString());
        item->setData(Qt::AccessibleTextRole,
                      kept ? tr("%1, kept: %2").arg(name, about) : tr("%1: %2").arg(name, about));
        if (name == chosen)
            m_samples->setCurrentItem(item);
    };
    QStringList others = m_kept;
    for (const SampleInfo& sample : listSamples()) {
        const QString name = toText(sample.name);
        add(name, toText(sample.summary), others.removeAll(name) > 0);
    }
    for (const QString& name : others)
        add(name, tr("A sample that was opened before"), true);
    static_cast<EntryList*>(m_samples)->fit();
}

void StartPage::judge()
{
    const QListWidgetItem* item = m_samples->currentItem();
    m_remove->setVisible(!m_kept.isEmpty());
    m_remove->setEnabled(item && m_kept.contains(item->data(Name).toString()));
    m_keptWords->setText(
        m_kept.isEmpty()
            ? tr("A sample is built when it is opened, and kept as you leave it until you remove it here.")
            : tr("Kept as you leave them in %1. Removed, a sample is built afresh when it is opened again.")
                  .arg(m_folder));
}

void StartPage::setRecent(const QStringList& paths)
{
    m_recent->clear();
    for (const QString& path : paths) {
        const QString shown = toText(path.toStdString());
        auto* item = new QListWidgetItem(shown, m_recent);
        item->setData(Name, shown.section(QLatin1Char('/'), -1));
        item->setData(About, shown);
        item->setData(Path, path);
        item->setToolTip(shown.toHtmlEscaped());
    }
    static_cast<EntryList*>(m_recent)->fit();
    m_recentCard->setVisible(!paths.isEmpty());
}

void StartPage::setKept(const QStringList& names, const QString& folder)
{
    m_kept = names;
    m_folder = folder;
    fillSamples();
    judge();
}

void StartPage::setOpened(const QString& name)
{
    m_back->setVisible(!name.isEmpty());
    m_back->setText(tr("Bac&k to %1").arg(QString(name).replace(QLatin1Char('&'), QStringLiteral("&&"))));
}

} // namespace espalier
