// SPDX-License-Identifier: MIT
//
// The commits of two versions of a branch as a list of pairs, and what changed in the change of the pair that is chosen.
// Fills a list and a diff that others own.
//
//     auto* pairs = new VersionPairs(list, diff, this);
//     pairs->show(snapshot->path, pairVersions(…).value());
#pragma once

#include "core/history/versions.h"

#include <QObject>
#include <QPointer>

class QTreeWidget;

namespace espalier {

class DiffView;
class Work;

class VersionPairs : public QObject {
    Q_OBJECT
  public:
    VersionPairs(QTreeWidget* list, DiffView* diff, QObject* parent);

    void show(const std::string& repository, std::vector<VersionPair> pairs);
    // "2 the same, 1 changed, 1 left out, 1 new"
    static QString summary(const std::vector<VersionPair>& pairs);

  Q_SIGNALS:
    void failed(const QString& line);
    // The chosen pair is shown.
    void loaded();

  private:
    void choose(int at);

    QTreeWidget* m_list;
    DiffView* m_diff;
    std::string m_repository;
    std::vector<VersionPair> m_pairs;
    QPointer<Work> m_work;
    int m_asked = 0;
};

} // namespace espalier
