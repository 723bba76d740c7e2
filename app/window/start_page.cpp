// SPDX-License-Identifier: MIT
#include "app/window/start_page.h"

#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/samples/samples.h"

#include <QHBoxLayout>
#include <QListWidget>
#include <QPushButton>
#include <QVBoxLayout>

namespace espalier {

StartPage::StartPage(QWidget* parent) : QWidget(parent)
{
    const int space = theme::gap(this);
    auto* outer = new QHBoxLayout(this);
    auto* middle = new QWidget(this);
    middle->setMaximumWidth(space * 110);
    outer->addStretch(1);
    outer->addWidget(middle, 100);
    outer->addStretch(1);
    auto* column = new QVBoxLayout(middle);
    column->setSpacing(space * 2);
    column->setContentsMargins(space * 2, space * 4, space * 2, space * 4);
    auto* title = new PlainLabel(tr("Espalier"), middle);
    title->setFont(theme::sized(font(), 2, true));
    auto* sentence = new PlainLabel(tr("Clone, fork and upstream as one history: see how far your topic branches have drifted, "
                                       "drag them onto a new base, and look at the outcome before anything is touched."),
                                    middle);
    sentence->setWrapped(true);
    auto* buttons = new QHBoxLayout;
    buttons->setSpacing(space);
    auto* open = new QPushButton(tr("&Open a repository…"), middle);
    open->setDefault(true);
    setFocusProxy(open);
    auto* clone = new QPushButton(tr("C&lone…"), middle);
    buttons->addWidget(open);
    buttons->addWidget(clone);
    buttons->addStretch(1);
    column->addWidget(title);
    column->addWidget(sentence);
    column->addLayout(buttons);
    auto* lists = new QHBoxLayout;
    lists->setSpacing(space * 2);
    column->addLayout(lists, 1);
    m_recentBox = new QWidget(middle);
    auto* recentColumn = new QVBoxLayout(m_recentBox);
    recentColumn->setContentsMargins(0, 0, 0, 0);
    m_recent = addList(recentColumn, tr("Opened before"));
    auto* samplesColumn = new QVBoxLayout;
    m_samples = addList(samplesColumn, tr("Samples to try on"));
    lists->addWidget(m_recentBox, 1);
    lists->addLayout(samplesColumn, 1);
    for (const SampleInfo& sample : listSamples()) {
        auto* item = new QListWidgetItem(toText(sample.name) + QLatin1Char('\n') + toText(sample.summary), m_samples);
        item->setData(Qt::UserRole, toText(sample.name));
    }
    connect(open, &QPushButton::clicked, this, &StartPage::openRequested);
    connect(clone, &QPushButton::clicked, this, &StartPage::cloneRequested);
    connect(m_recent, &QListWidget::itemActivated, this,
            [this](const QListWidgetItem* item) { Q_EMIT pathChosen(item->data(Qt::UserRole).toString()); });
    connect(m_samples, &QListWidget::itemActivated, this,
            [this](const QListWidgetItem* item) { Q_EMIT sampleChosen(item->data(Qt::UserRole).toString()); });
    setRecent({});
}

QListWidget* StartPage::addList(QLayout* column, const QString& title)
{
    auto* label = new PlainLabel(title, this);
    label->setFont(theme::sized(font(), 1.1, true));
    auto* list = new QListWidget(this);
    list->setWordWrap(true);
    list->setSpacing(theme::gap(this) / 2);
    list->setAccessibleName(title);
    list->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    column->addWidget(label);
    column->addWidget(list);
    return list;
}

void StartPage::setRecent(const QStringList& paths)
{
    m_recent->clear();
    for (const QString& path : paths) {
        const QString shown = toText(path.toStdString());
        auto* item = new QListWidgetItem(shown.section(QLatin1Char('/'), -1) + QLatin1Char('\n') + shown, m_recent);
        item->setData(Qt::UserRole, path);
    }
    m_recentBox->setVisible(!paths.isEmpty());
}

} // namespace espalier
