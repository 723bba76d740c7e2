// SPDX-License-Identifier: MIT
#include "tests/support/seed_rows.h"

#include <QtTest>

namespace espalier::test {

void addSeedRows(std::vector<int> seeds)
{
    QTest::addColumn<int>("seed");
    const QStringList others = qEnvironmentVariable("ESPALIER_MERGE_SEEDS").split(QLatin1Char('-'));
    if (others.size() == 2) {
        seeds.clear();
        for (int seed = others[0].toInt(); seed <= others[1].toInt(); ++seed)
            seeds.push_back(seed);
    }
    for (const int seed : seeds)
        QTest::addRow("seed %d", seed) << seed;
}

} // namespace espalier::test
