// SPDX-License-Identifier: MIT
#include "tests/support/topic_plan.h"

#include <QtTest>

namespace espalier::test {

namespace {
constexpr int patience = 20000;
}

void openTopic(const TempRepository& repo, const char* topic, OpenTopic& into)
{
    into.plan.reset();
    into.flow.reset(); // before the session that it is on
    into.session = std::make_unique<Session>();
    into.session->open(repo.path());
    QTRY_VERIFY_WITH_TIMEOUT(into.session->isOpen(), patience);
    const Repository repository = repo.open();
    const Snapshot& snapshot = *into.session->snapshot();
    PlanOptions options;
    options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
    auto plan = planBranch(repository, snapshot, topic, snapshot.findRef("refs/heads/main")->tip, "main", options);
    QVERIFY2(plan, plan ? "" : plan.error().line().c_str());
    into.flow = std::make_unique<ReplayFlow>(into.session.get());
    into.plan = std::move(*plan);
}

void applyAnnounced(const TempRepository& repo, ReplayFlow& flow, const char* topic)
{
    QSignalSpy applied(&flow, &ReplayFlow::applied);
    QSignalSpy failed(&flow, &ReplayFlow::failed);
    QVERIFY(flow.run()->clean);
    const Oid announced = flow.run()->newTip.value();
    flow.apply();
    QTRY_VERIFY_WITH_TIMEOUT(!applied.isEmpty() || !failed.isEmpty(), patience);
    QVERIFY2(failed.isEmpty(), failed.isEmpty() ? "" : qPrintable(failed.front().front().toString()));
    QCOMPARE(repo.git({QStringLiteral("rev-parse"), QLatin1String(topic)}), announced.hex());
}

} // namespace espalier::test
