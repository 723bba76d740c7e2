// SPDX-License-Identifier: MIT
//
// A topic branch of a repository, open and planned onto the clone's own main by a fixed committer, for tests of pages.
//
//     test::OpenTopic open;
//     test::openTopic(repo, "refs/heads/topic/x", open);   // open.plan is empty when the test has failed
//     DryRunPage page(open.session.get(), open.flow.get());
//     open.flow->start(*open.plan);
#pragma once

#include "app/session/replay_flow.h"
#include "app/session/session.h"
#include "tests/support/temp_repository.h"

#include <memory>
#include <optional>

namespace espalier::test {

struct OpenTopic {
    std::unique_ptr<Session> session;
    std::unique_ptr<ReplayFlow> flow;
    std::optional<Plan> plan;
};
// The repository has a branch main. Fails the test when it cannot be opened or planned.
void openTopic(const TempRepository& repo, const char* topic, OpenTopic& into);

// Applies what the flow has run; afterwards the branch is at the tip that the dry run announced, as git reads it.
void applyAnnounced(const TempRepository& repo, ReplayFlow& flow, const char* topic);

} // namespace espalier::test
