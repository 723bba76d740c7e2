// SPDX-License-Identifier: MIT
//
// What the panel about a commit is made of. Private to app/history.
#pragma once

#include "app/history/commit_panel.h"
#include "app/history/version_pairs.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "core/history/local_changes.h"

#include <QPointer>
#include <QTimer>

class QCheckBox;
class QHBoxLayout;
class QPlainTextEdit;
class QPushButton;
class QTreeWidget;
class QTreeWidgetItem;

namespace espalier {

class DiffView;

struct CommitPanel::Private {
    struct Loaded {
        std::optional<Commit> commit; // nothing for a comparison
        Changes changes;
        std::vector<VersionPair> versions; // instead of changes
        std::optional<LocalFiles> local;   // the same
        const FileChange* file(std::size_t at) const
        {
            if (local)
                return at < local->files.size() ? &local->files[at].change : nullptr;
            return at < changes.files.size() ? &changes.files[at] : nullptr;
        }
    };

    CommitPanel* q;
    SnapshotPtr snapshot;
    Oid shown, older; // `older` is set for a comparison
    bool asVersions = false;
    bool isLocal = false; // what is not committed; `shown` is zero then
    Loaded loaded;
    QPointer<Work> work;
    QTimer delay;

    PlainLabel* subject = nullptr;
    PlainLabel* author = nullptr;
    PlainLabel* committer = nullptr;
    PlainLabel* id = nullptr;
    PlainLabel* presence = nullptr;
    QPlainTextEdit* message = nullptr;
    QCheckBox* fixedWidth = nullptr;
    QHBoxLayout* parents = nullptr;
    QPushButton* copyId = nullptr;
    QPushButton* patch = nullptr;
    QTreeWidget* files = nullptr;
    PlainLabel* total = nullptr;
    QCheckBox* whitespace = nullptr;
    DiffView* diff = nullptr;
    VersionPairs* versions = nullptr;

    void buildDetails(QWidget* side);
    void buildChanges(QWidget* side);
    void load();
    void fill();
    void fillCommit(const Commit& commit);
    void fillParents(const std::vector<Oid>& ids);
    void fillLocal();
    void fillFiles();
    QTreeWidgetItem* itemFor(const FileChange& file, const QString& kind, std::size_t at) const;
    void clear(const QString& words);
};

} // namespace espalier
