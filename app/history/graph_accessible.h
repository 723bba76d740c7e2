// SPDX-License-Identifier: MIT
//
// The graph as assistive technology sees it: a list whose items are read as sentences.
#pragma once

namespace espalier {

class GraphList;

// Makes Qt know the list; harmless when called again.
void installGraphAccessibility();
// The rows have changed or the list goes: their interfaces are no longer valid.
void forgetAccessibleRows(const GraphList* list);

} // namespace espalier
