// SPDX-License-Identifier: MIT
//
// The overwrite check as a picture in the history's language: the fork's old commits in its lane, the clone's new ones in
// its own, each old one joined with the one that takes its place, the lost ones cut off. A list for keyboard and screen
// readers: a row a commit, a heading a branch where there are several. Private to app/overwrite.
//
//     picture->show({{QString(), rowsOf(check)}});
//     connect(picture, &PairPicture::chosen, detail, [=](int branch, int row) { … });
#pragma once

#include "app/history/graph_painter.h"
#include "core/history/snapshot.h"
#include "core/remotes/overwrite_check.h"

#include <QTreeWidget>

#include <vector>

namespace espalier {

struct PictureBranch {
    QString heading; // empty: none, there is one branch only
    std::vector<CheckRow> rows;
};

// Where the bands stand in the picture, for the picture and for what goes on below it.
struct PictureBands {
    std::array<int, 4> left{}; // of upstream's, the fork's and the clone's band, and the end
    std::array<qreal, 3> lane{};
    bool withIds = false; // there is room for ids beside the marks
    qreal x(Place place) const { return lane[std::size_t(place)]; }
};

class PairPicture : public QTreeWidget {
    Q_OBJECT
  public:
    enum Column { Picture, State, Subject, Author, ColumnCount };
    explicit PairPicture(QWidget* parent = nullptr);
    ~PairPicture() override;

    // Chooses the loudest commit, the first that is lost, else the first that a reviewer will see something new in, and has it
    // in view; chosen() is not emitted for it.
    void show(std::vector<PictureBranch> branches);
    // Where the commits are to be found, for their presence marks; may be null.
    void setSnapshot(const SnapshotPtr& snapshot);
    // Of what is chosen; -1 where nothing is, and for the row of a heading.
    int currentBranch() const;
    int currentRow() const;
    const PictureBands& bands() const { return m_bands; }
    const GraphPainter& painter() const { return m_painter; }
    QSize sizeHint() const override;

  Q_SIGNALS:
    void chosen(int branch, int row);
    void bandsChanged();

  protected:
    void resizeEvent(QResizeEvent* event) override;
    void changeEvent(QEvent* event) override;

  private:
    class Header;
    class Delegate;
    void fill();
    void setLook();
    void arrange();
    // What goes on below the rows follows them at once.
    void fitHeight();
    int heightOf(int rows) const; // with the header
    int rowCount() const;
    int wantedWidth(Column column) const;
    void paintPicture(QPainter& painter, const QRect& area, int branch, int row, bool withBands) const;
    void paintLines(QPainter& painter, const QRect& area, int branch, int row) const;
    void paintJoin(QPainter& painter, QPointF from, QPointF to, const CheckRow& row) const;
    void paintIds(QPainter& painter, const QRect& area, const CheckRow& row) const;
    Places placesOf(const Oid& id, Places otherwise) const;

    // The rows in which lines begin; the number of rows where one does not.
    struct Begins {
        int old = 0, now = 0, kept = 0;
    };

    std::vector<PictureBranch> m_branches;
    std::vector<Begins> m_begins; // of each branch
    SnapshotPtr m_snapshot;
    GraphPainter m_painter;
    PictureBands m_bands;
};

} // namespace espalier
