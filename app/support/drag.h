// SPDX-License-Identifier: MIT
//
// What travels when a branch, a commit or a range is dragged onto a new base, within one window of this process only.
#pragma once

#include "core/git/oid.h"

#include <QMimeData>
#include <QString>

#include <memory>
#include <optional>
#include <string>

namespace espalier {

struct DragSource {
    std::string branch; // full ref name; may be empty for commits that no branch of the clone holds
    Oid below;          // for a range: the commit below its oldest; zero with wholeBranch
    Oid tip;            // the newest commit that is dragged
    bool wholeBranch = true;
    QString label; // "topic/x", "2 commits of topic/x"
};

struct DropTarget {
    Oid commit;
    std::string refName; // full name when a label was the target; may be empty
    QString label;       // "upstream/main", "1a2b3c4 Subject"
};

inline constexpr char dragMimeType[] = "application/x-espalier-replay";

std::unique_ptr<QMimeData> encodeDrag(const DragSource& source);
// Nothing for other data, and for drags of another process (ids there may mean another repository).
std::optional<DragSource> decodeDrag(const QMimeData* data);

} // namespace espalier

Q_DECLARE_METATYPE(espalier::DragSource)
Q_DECLARE_METATYPE(espalier::DropTarget)
