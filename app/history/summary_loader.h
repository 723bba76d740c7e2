// SPDX-License-Identifier: MIT
//
// Reads what the visible rows show (subject, author) on a thread of its own, in batches, the rows wanted last first. What
// has scrolled away before its turn is never read. Keeps a bounded number of what it has read.
//
//     loader.setRepository(path);
//     loader.want(idsOfVisibleRows);           // loaded() follows
//     if (const RowSummary* summary = loader.find(id)) …
#pragma once

#include "core/git/oid.h"

#include <QCache>
#include <QObject>
#include <QPointer>
#include <QString>

#include <memory>
#include <vector>

namespace espalier {

inline std::size_t qHash(const Oid& id, std::size_t seed = 0) { return std::hash<Oid>()(id) ^ seed; }

struct RowSummary {
    QString subject;
    QString author;
    qint64 authorTime = 0;
};

class SummaryLoader : public QObject {
    Q_OBJECT
  public:
    explicit SummaryLoader(QObject* parent = nullptr);
    ~SummaryLoader() override;

    // Forgets everything of another repository.
    void setRepository(const std::string& path);
    // Null while it is not there. Valid until the event loop runs again.
    const RowSummary* find(const Oid& id) const { return m_cache.object(id); }
    // Replaces what was wanted before.
    void want(std::vector<Oid> ids);
    bool isIdle() const { return m_pending == 0; }

  Q_SIGNALS:
    void loaded();

  private:
    struct Shared;
    using Batch = std::vector<std::pair<Oid, RowSummary>>;
    static void run(const std::shared_ptr<Shared>& shared, const QPointer<SummaryLoader>& loader);
    void take(int generation, int asked, const Batch& batch, int pending);

    std::shared_ptr<Shared> m_shared;
    mutable QCache<Oid, RowSummary> m_cache{20000};
    std::string m_path;
    int m_generation = 0;
    int m_asked = 0; // counts want(); an older answer says nothing about what is still to come
    int m_pending = 0;
};

} // namespace espalier
