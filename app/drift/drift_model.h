// SPDX-License-Identifier: MIT
//
// The rows of the drift board: branches in groups, each with its numbers and what they mean. Holds texts and counts ready to
// paint; the delegate paints, the board asks.
#pragma once

#include "app/session/session.h"
#include "app/support/drag.h"
#include "app/support/drop_words.h"

#include <QAbstractListModel>
#include <QTimer>

#include <unordered_map>
#include <vector>

namespace espalier {

enum class DriftTone { Plain, Quiet, Good, Warning, Loss };

struct DriftRow {
    bool heading = false;
    QString text;      // heading, or the branch's name
    std::string ref;   // full name
    int refIndex = -1; // into Snapshot::refs
    std::uint32_t ahead = 0, behind = 0;
    QString forecast, fork;   // right-hand texts, above and below
    QString replacement;      // what a forced update would replace, in a sentence; empty when there is nothing to say
    QString changes;          // local changes of the branch that is checked out, in words; empty when there are none
    bool forecastOld = false; // what it was; it is being computed again
    DriftTone forecastTone = DriftTone::Quiet, forkTone = DriftTone::Quiet;
    bool checkedOut = false;
    bool landed = false;
    Place place = Place::Clone;
};

class DriftModel : public QAbstractListModel {
    Q_OBJECT
  public:
    enum Role { RowRole = Qt::UserRole + 1 }; // not for QML: see row()

    explicit DriftModel(QObject* parent = nullptr);

    // Both may be null.
    void setSession(const Session* session);
    void reload();
    // Cheap: tens of thousands of answers may come in a minute. A branch that has landed changes its group a while later,
    // with all others that have.
    void updateForecast(const QString& ref);
    // The local changes were counted anew.
    void updateChanges();

    const DriftRow& row(int index) const { return m_rows[std::size_t(index)]; }
    // -1 when the board has no such branch.
    int indexOf(const std::string& ref) const;
    int branchCount() const;
    // The largest numbers, for the shared axis; not of the old branches, which are so far behind that beside them all others
    // would look alike.
    std::uint32_t maxAhead() const { return m_maxAhead; }
    std::uint32_t maxBehind() const { return m_maxBehind; }
    // What a row stands for when it is dragged; an empty label for headings.
    DragSource sourceOf(int index) const;
    DropTarget targetOf(int index) const;
    DropAnswer answer(const DragSource& source, const DropTarget& target) const;

    int rowCount(const QModelIndex& parent = {}) const override;
    QVariant data(const QModelIndex& index, int role) const override;
    Qt::ItemFlags flags(const QModelIndex& index) const override;
    QMimeData* mimeData(const QModelIndexList& indexes) const override;
    QStringList mimeTypes() const override;
    Qt::DropActions supportedDragActions() const override { return Qt::LinkAction; }
    Qt::DropActions supportedDropActions() const override { return Qt::LinkAction; }
    bool canDropMimeData(const QMimeData* data, Qt::DropAction action, int row, int column,
                         const QModelIndex& parent) const override;
    bool dropMimeData(const QMimeData* data, Qt::DropAction action, int row, int column,
                      const QModelIndex& parent) override;

  Q_SIGNALS:
    // Texts have changed, sizes have not: nothing need be laid out.
    void forecastsArrived();
    void dropped(const espalier::DragSource& what, const espalier::DropTarget& onto);

  private:
    DriftRow describe(const BranchDrift& drift) const;
    QString changesOf(const DriftRow& row) const;
    static void describeReplacement(const Replacement& replacement, DriftRow& row);
    void describeForecast(DriftRow& row) const;
    void tellForecast(DriftRow& row) const;

    const Session* m_session = nullptr;
    std::vector<DriftRow> m_rows;
    // Of branches, by full name; by the name as it is shown too where that differs.
    std::unordered_map<std::string, int> m_index;
    QTimer m_regroup;
    std::uint32_t m_maxAhead = 0, m_maxBehind = 0;
};

} // namespace espalier
