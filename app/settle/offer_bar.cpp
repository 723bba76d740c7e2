// SPDX-License-Identifier: MIT
#include "app/settle/offer_bar.h"

#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHBoxLayout>
#include <QPushButton>
#include <QShortcut>

namespace espalier {

QString offerWords(const HunkOffer& offer)
{
    const QString reason = toText(offer.reason);
    if (offer.source == HunkOffer::Proposed)
        return OfferBar::tr("Proposed: %1.").arg(reason);
    return offer.when > 0 ? OfferBar::tr("%1 (%2).").arg(reason, relativeTime(offer.when))
                          : OfferBar::tr("%1.").arg(reason);
}

QString offerBrief(const HunkOffer& offer)
{
    return offer.source == HunkOffer::Proposed ? OfferBar::tr("proposed") : OfferBar::tr("settled before");
}

OfferBar::OfferBar(QWidget* parent) : QWidget(parent), m_words(new PlainLabel(this))
{
    const int space = theme::gap(this);
    auto* row = new QHBoxLayout(this);
    row->setContentsMargins(0, 0, 0, 0);
    row->setSpacing(space);
    m_words->setWrapped(true);
    row->addWidget(m_words, 1);
    const auto add = [&](const char* name, const QString& words, Qt::Key key, auto signal) {
        auto* button = new QPushButton(words, this);
        button->setObjectName(QLatin1String(name));
        button->setToolTip(tr("Alt+%1").arg(QChar(ushort(key))));
        auto* shortcut = new QShortcut(Qt::ALT | key, button);
        connect(shortcut, &QShortcut::activated, button, [button] { button->click(); });
        connect(button, &QPushButton::clicked, this, signal);
        row->addWidget(button);
        return button;
    };
    m_take = add("takeOffer", tr("Take it"), Qt::Key_5, &OfferBar::taken);
    m_takeAll = add("takeAllOffers", tr("Take all of this file"), Qt::Key_6, &OfferBar::allTaken);
    m_forget = add("forgetOffer", tr("Forget it"), Qt::Key_7, &OfferBar::forgotten);
    m_forget->setAccessibleName(tr("Forget how this hunk was settled before"));
    m_forget->setToolTip(tr("Alt+7: it will not be offered again"));
}

void OfferBar::showOffer(const HunkOffer* offer, const QString& text, bool decided)
{
    const bool open = offer && !decided;
    m_words->setText(open      ? offerWords(*offer)
                     : decided ? tr("This hunk is decided.")
                               : tr("Nothing is proposed for this hunk."));
    m_take->setEnabled(open);
    m_take->setAccessibleName(open && offer->source == HunkOffer::Proposed ? tr("Take what is proposed for this hunk")
                                                                           : tr("Settle this hunk as it was before"));
    m_take->setAccessibleDescription(open ? text : QString());
    m_forget->setVisible(open && !offer->name.isZero());
}

void OfferBar::showFile(int all, int undecided, int unseen)
{
    m_takeAll->setVisible(all > 1);
    m_takeAll->setEnabled(undecided > 0 && unseen == 0);
    m_takeAll->setText(undecided == 0 ? tr("Take all of this file")
                       : unseen == 0  ? tr("Take all of this file (%1)").arg(undecided)
                                      : tr("Take all of this file (%1 to look at)").arg(unseen));
    m_takeAll->setToolTip(unseen == 0 ? tr("Alt+6") : tr("Alt+6, once each of them was looked at"));
}

} // namespace espalier
