// SPDX-License-Identifier: MIT
#include "tests/support/job_check.h"

#include "app/dryrun/dry_run_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "tests/support/job_outcome.h"
#include "tests/support/temp_repository.h"

#include <QAbstractItemView>
#include <QtTest>

namespace espalier::test {

namespace {

Oid tipOf(const std::filesystem::path& at) { return Repository::open(at).value().resolve(WholeJob::topicRef).value(); }

// How many rows of the list say "conflict".
int conflictsShown(const QAbstractItemView* list)
{
    int count = 0;
    for (int i = 0; i < list->model()->rowCount(); ++i)
        count += rowText(list, i).contains(QStringLiteral("conflict"));
    return count;
}

} // namespace

void checkJob(WholeJob& job, MainWindow& window, const Sample& sample, const WholeJob::Look& also)
{
    const Oid before = tipOf(sample.clone);
    QCOMPARE(tipOf(sample.fork).hex(), before.hex());
    const auto untouched = folderState(sample.clone);
    const auto forkUntouched = folderState(sample.fork);
    DryRunPtr announced;
    QStringList steps;
    job.run([&](const QString& step) {
        steps << step;
        if (also)
            also(step);
        if (step == QStringLiteral("dry-run")) {
            const auto* list = window.dryRunPage()->findChild<QAbstractItemView*>(QStringLiteral("commits"));
            QCOMPARE(list->model()->rowCount(), 3);
            QCOMPARE(conflictsShown(list), 1);
            QCOMPARE(folderState(sample.clone), untouched);
        } else if (step == QStringLiteral("settled")) {
            // Nothing moves before Apply.
            QCOMPARE(tipOf(sample.clone).hex(), before.hex());
        } else if (step == QStringLiteral("ready")) {
            announced = window.flow()->run();
        } else if (step == QStringLiteral("applied")) {
            QCOMPARE(tipOf(sample.clone).hex(), announced->newTip->hex());
            QCOMPARE(folderState(sample.fork), forkUntouched);
        } else if (step == QStringLiteral("overwrite-check")) {
            const OverwriteCheck& check = window.overwritePage()->check();
            QCOMPARE(check.pairs.size(), std::size_t(3));
            QVERIFY(check.foreign.empty());
            bool shown = false;
            for (const auto* table : window.overwritePage()->findChildren<QAbstractItemView*>()) {
                if (table->model()->rowCount() != 3)
                    continue;
                shown = true;
                for (int i = 0; i < 3; ++i) {
                    const CommitPair& pair = check.pairs[std::size_t(i)];
                    const QString row = rowText(table, i);
                    QVERIFY2(row.contains(QString::fromStdString(pair.old.id.brief())) &&
                                 row.contains(QString::fromStdString(pair.now.id.brief())),
                             qPrintable(row));
                }
            }
            QVERIFY(shown);
            QCOMPARE(folderState(sample.fork), forkUntouched);
        } else if (step == QStringLiteral("pushed")) {
            QCOMPARE(tipOf(sample.fork).hex(), announced->newTip->hex());
            QCOMPARE(
                rewriteProblem(sample, QStringLiteral("topic/metric-heights"), before, QStringLiteral("upstream/main")),
                QString());
        } else if (step == QStringLiteral("restored")) {
            QCOMPARE(tipOf(sample.fork).hex(), before.hex());
            QCOMPARE(tipOf(sample.clone).hex(), before.hex());
            QCOMPARE(fsckProblem(sample), QString());
        }
    });
    QVERIFY2(job.problem().isEmpty(), qPrintable(job.problem()));
    QCOMPARE(job.hunksSettled(), 2);
    QCOMPARE(steps.last(), QStringLiteral("restored"));
}

} // namespace espalier::test
