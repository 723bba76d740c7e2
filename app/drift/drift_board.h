// SPDX-License-Identifier: MIT
//
// The drift board: every branch with its drift, its forecast and the state of the fork's copy. A row can be dragged onto a
// commit or a label of the graph, or onto another row.
#pragma once

#include "app/session/session.h"
#include "app/support/drag.h"

#include <QWidget>

class QListView;

namespace espalier {

class DriftList;
class DriftModel;
class DropSpot;
class PlainLabel;

class DriftBoard : public QWidget {
    Q_OBJECT
  public:
    // `session` must outlive the board.
    explicit DriftBoard(const Session* session, QWidget* parent = nullptr);

    // The full name of the selected branch; empty when there is none.
    std::string selected() const;
    void select(const std::string& ref);
    QListView* list() const;
    // While something is dragged, also from elsewhere: the head line takes a drop for the main line.
    void offerDrops(const DragSource& source);
    void withdrawDrops();

  Q_SIGNALS:
    void branchChosen(const std::string& ref);
    void replayRequested(const espalier::DragSource& what, const espalier::DropTarget& onto);
    // The keyboard's and the menu's way: the new base is chosen next.
    // A row is dragged, or no longer; `taken`: dropped where something takes it.
    void dragBegan(const espalier::DragSource& what);
    void dragEnded(bool taken);
    void replayOntoRequested(const std::string& ref);
    void checkOutRequested(const std::string& ref);
    void pushRequested(const std::string& ref);
    void focusRequested(const std::string& ref);
    void renameRequested(const std::string& ref);
    void deleteRequested(const std::string& ref);
    void cleanUpRequested();

  protected:
    void contextMenuEvent(QContextMenuEvent* event) override;
    bool eventFilter(QObject* watched, QEvent* event) override;

  private:
    void reload();
    void placeWords();
    void showMenu(const QPoint& globalPosition);

    const Session* m_session;
    DriftModel* m_model;
    DriftList* m_list;
    DropSpot* m_headSpot;
    PlainLabel* m_title;
    PlainLabel* m_news;
    PlainLabel* m_behind;
    PlainLabel* m_ahead;
    PlainLabel* m_footer;
    PlainLabel* m_empty;
    // What was chosen and seen before the rows were arranged anew.
    std::string m_kept;
    int m_scrolledTo = 0;
    std::string m_path; // of the repository that is shown
};

} // namespace espalier
