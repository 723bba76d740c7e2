// SPDX-License-Identifier: MIT
//
// The record of what was changed, newest first, each entry with the way back.
#pragma once

#include "app/session/session.h"
#include "core/keep/logbook.h"

#include <QWidget>

#include <memory>
#include <vector>

namespace espalier {

class LogbookPage : public QWidget {
    Q_OBJECT
  public:
    // `session` must outlive the page; null: only what showEntries() is given is shown.
    explicit LogbookPage(Session* session, QWidget* parent = nullptr);
    ~LogbookPage() override;

    // Reads the logbook again in the background; the page does so itself when the snapshot changes while it is visible.
    void reload();
    void showEntries(const std::vector<LogbookEntry>& entries, const QStringList& notices = {});

  Q_SIGNALS:
    void commitChosen(const espalier::Oid& id);
    void closed();

  protected:
    void showEvent(QShowEvent* event) override;

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier
