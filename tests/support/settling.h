// SPDX-License-Identifier: MIT
//
// A settle page in a window of its own, with the replay that it is about, for tests of what it shows.
//
//     QVERIFY(test::beginSettling(page, open));
#pragma once

#include "app/settle/settle_page.h"
#include "tests/support/topic_plan.h"

namespace espalier::test {

// Shows the page, waits until it has the keyboard, starts the flow and begins with its conflicts. False when one of it never
// comes; what the page then shows is waited for by the test.
bool beginSettling(SettlePage& page, OpenTopic& open);

} // namespace espalier::test
