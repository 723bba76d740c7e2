// SPDX-License-Identifier: MIT
//
// The three places across the top of the window: what each is, how its main line stands to upstream's, and the one action
// that makes sense now. A view of the session; it asks, the window acts.
//
//     connect(strip, &PlacesStrip::fetchRequested, session, &Session::fetch);
#pragma once

#include "app/session/session.h"
#include "app/support/drag.h"
#include "app/support/text.h"

#include <QWidget>

#include <array>

class QPushButton;
class QToolButton;

namespace espalier {

class DropSpot;

class PlacesStrip : public QWidget {
    Q_OBJECT
  public:
    // `session` must outlive the strip.
    explicit PlacesStrip(const Session* session, QWidget* parent = nullptr);

    // What the card of a place says, and the label of its action (empty: none); for tests and screen readers.
    QString standing(Place place) const;
    QString action(Place place) const;

    // While something is dragged: the cards take drops, for their main line and for the topic's copy.
    void offerDrops(const DragSource& source);
    void withdrawDrops();

  Q_SIGNALS:
    void replayRequested(const espalier::DragSource& what, const espalier::DropTarget& onto);
    void fetchRequested(const std::string& remote);
    void bringUpToDateRequested();
    // A branch of the clone, without refs/heads/.
    void pushRequested(const std::string& branch);
    void addUpstreamRequested();
    void rolesRequested();

  protected:
    void changeEvent(QEvent* event) override;

  private:
    struct PlaceCard {
        Card* card = nullptr;
        PlainLabel* name = nullptr;
        PlainLabel* url = nullptr;
        PlainLabel* standing = nullptr;
        PlainLabel* when = nullptr;
        QPushButton* action = nullptr;
        QToolButton* roles = nullptr;
        DropSpot* mainSpot = nullptr; // over the whole card, or its left half
        DropSpot* copySpot = nullptr; // over its right half
        std::function<void()> act;
    };
    void build(Place place);
    void reload();
    void colour();
    void fillUpstream(PlaceCard& card, const Snapshot& snapshot);
    void fillFork(PlaceCard& card, const Snapshot& snapshot);
    void fillClone(PlaceCard& card, const Snapshot& snapshot);
    void fetchBy(PlaceCard& card, const std::string& remote);

    const Session* m_session;
    std::array<PlaceCard, 3> m_cards;
};

} // namespace espalier
