// SPDX-License-Identifier: MIT
//
// The window's small questions. Each opens a modal dialog and returns what was answered, or nothing when it was closed.
// Names from the repository are shown as plain text, and what is typed is checked before OK can be pressed.
//
//     if (const auto name = dialogs::askBranchName(window, tr("New branch"), tr("Name"), {}, *snapshot))
//         session->createBranch(name->branch, at, name->checkOut);
#pragma once

#include "app/support/drag.h"
#include "core/history/snapshot.h"
#include "core/remotes/access.h"

#include <QString>

#include <optional>

class QWidget;

namespace espalier::dialogs {

struct BranchAnswer {
    std::string branch; // without refs/heads/
    bool checkOut = false;
};
// `offerCheckOut` adds the box "Check it out". Names that git would not take, or that exist, are refused as they are typed.
std::optional<BranchAnswer> askBranchName(QWidget* parent, const QString& title, const QString& sentence,
                                          const QString& proposed, const Snapshot& snapshot, bool offerCheckOut);

struct RemoteAnswer {
    std::string name, url;
};
std::optional<RemoteAnswer> askUpstream(QWidget* parent, const Snapshot& snapshot);

struct RolesAnswer {
    std::string upstream, fork;
};
std::optional<RolesAnswer> askRoles(QWidget* parent, const Snapshot& snapshot);

// A list of branches and tags that narrows while one types; the beginning of an id offers commits as well. `title` says what
// is chosen; `except` is not offered.
std::optional<DropTarget> chooseBase(QWidget* parent, const QString& title, const Snapshot& snapshot,
                                     const std::string& except = {});
// The same list for a commit; `act` is the word on the button.
std::optional<Oid> chooseCommit(QWidget* parent, const QString& title, const QString& act, const Snapshot& snapshot);

// One sentence, a question and the name of the act on its button.
bool confirm(QWidget* parent, const QString& title, const QString& sentence, const QString& act);

struct CloneAnswer {
    QString url, folder;
};
std::optional<CloneAnswer> askClone(QWidget* parent);

// Asks on the GUI thread while the working thread waits. What is typed lives in memory only. `parent` may go away first:
// every question is then answered "no".
Access accessFor(QWidget* parent);

} // namespace espalier::dialogs
