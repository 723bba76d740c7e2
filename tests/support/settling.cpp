// SPDX-License-Identifier: MIT
#include "tests/support/settling.h"

#include <QtTest>

namespace espalier::test {

bool beginSettling(SettlePage& page, OpenTopic& open)
{
    constexpr int patience = 20'000; // as the tests themselves have it
    page.resize(1300, 800);
    page.show();
    if (!QTest::qWaitForWindowExposed(&page))
        return false;
    page.activateWindow();
    if (!QTest::qWaitForWindowActive(&page))
        return false;
    open.flow->start(*open.plan);
    if (!QTest::qWaitFor([&] { return open.flow->run() && !open.flow->isBusy(); }, patience))
        return false;
    page.begin();
    return true;
}

} // namespace espalier::test
