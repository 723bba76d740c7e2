// SPDX-License-Identifier: MIT
//
// One replay on its way from plan to apply: the plan, the decisions so far, and the newest dry run of both. The dry run
// page and the settle page are two views of one flow; every change of plan or decisions computes the dry run again.
#pragma once

#include "app/session/session.h"
#include "core/conflicts/settled_remarks.h"
#include "core/replay/fork_copy.h"
#include "core/settle/memory.h"

#include <QObject>

#include <vector>

namespace espalier {

class ReplayFlow : public QObject {
    Q_OBJECT
  public:
    explicit ReplayFlow(Session* session, QObject* parent = nullptr);
    ~ReplayFlow() override;

    // Begins with a plan; takes up open settlements kept for it.
    void start(const Plan& plan);
    void close();
    bool isActive() const { return m_active; }

    const Plan& plan() const { return m_plan; }
    void setPlan(const Plan& plan);
    const Settlements& settlements() const { return m_settlements; }
    // Saved at once, whatever becomes of the flow; the dry run follows.
    void settle(const SettlementKey& key, const FileSettlement& settlement) { settle({{key, settlement}}); }
    // Several that are one decision, and one step of undo.
    void settle(const std::vector<std::pair<SettlementKey, FileSettlement>>& decided);
    // Keeps settled hunks to be offered when such a one is met again; lets go of others, by name.
    void remember(std::vector<SettledBefore> settled, std::vector<Oid> forgotten = {});
    bool canUndo() const { return !m_undo.empty(); }
    bool canRedo() const { return !m_redo.empty(); }
    void undo();
    void redo();

    // Null until the first has been computed; stays the last one while a new one is computed.
    DryRunPtr run() const { return m_run; }
    // What run() means for the fork's branch of the same name.
    const ForkCopy& forkCopy() const { return m_forkCopy; }
    // What looks wrong in the files that run() settles and was not answered yet. While there is some of it the replay is not
    // applied: pages, lists and apply() all ask here.
    const std::vector<FileRemarks>& remarks() const { return m_remarks; }
    // It is meant so, for as long as this replay is open.
    void leaveAsItIs(const SettlementKey& key, const Remark& remark);
    void leaveAllAsTheyAre();
    bool isBusy() const { return m_busy; }
    // Only when run() is clean, without remarks, and not busy.
    bool canApply() const { return m_active && !m_busy && m_run && m_run->clean && m_remarks.empty(); }
    void apply();

  Q_SIGNALS:
    // The flow is about to go on from the decisions that it has: what was made and not told yet is to be told now.
    void collecting();
    void started();
    void runChanged();
    // Of the same run.
    void remarksChanged();
    // All decisions that were made until now are on the disk.
    void saved();
    void busyChanged(bool busy);
    void failed(const QString& line);
    void applied(const espalier::Applied& applied);
    void closed();

  private:
    struct Private;
    std::unique_ptr<Private> d;
    Session* m_session;
    Plan m_plan;
    Settlements m_settlements;
    std::vector<Settlements> m_undo, m_redo;
    DryRunPtr m_run;
    ForkCopy m_forkCopy;
    std::vector<FileRemarks> m_remarks;
    bool m_active = false;
    bool m_busy = false;
    bool m_applying = false;
};

} // namespace espalier
