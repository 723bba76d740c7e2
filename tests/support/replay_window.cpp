// SPDX-License-Identifier: MIT
#include "tests/support/replay_window.h"

#include "app/session/replay_flow.h"
#include "app/support/text.h"
#include "core/refs/ref_name.h"

#include <QtTest>

namespace espalier::test {

namespace {
constexpr int patience = 30000;
}

void setUpTopic(TempRepository& repo, const Files& base, const Files& topic, const Files& main)
{
    repo.git({"config", "user.name", "Mira Sol"});
    repo.git({"config", "user.email", "mira@example.org"});
    const auto below = repo.commitFiles(base, "Base", {}, "main");
    repo.commitFiles(topic, "Mine", {below}, "topic/x");
    repo.commitFiles(main, "Upstream", {below}, "main");
    repo.git({"symbolic-ref", "HEAD", "refs/heads/topic/x"});
    repo.git({"reset", "--hard", "--quiet"});
}

std::unique_ptr<MainWindow> openReplay(const TempRepository& repo, const std::string& branch, const std::string& onto)
{
    auto window = std::make_unique<MainWindow>();
    window->show();
    window->openRepository(repo.path());
    if (!QTest::qWaitFor([&] { return window->session()->isOpen(); }, patience)) {
        QTest::qFail("The repository was not opened", __FILE__, __LINE__);
        return {};
    }
    const Ref* topic = window->session()->snapshot()->findRef(branchRef(branch));
    const Ref* main = window->session()->snapshot()->findRef(branchRef(onto));
    window->startReplay({topic->name, {}, topic->tip, true, toText(branch)}, {main->tip, main->name, toText(onto)});
    if (!QTest::qWaitFor([&] { return window->flow()->run() && !window->flow()->isBusy(); }, patience)) {
        QTest::qFail("There was no dry run", __FILE__, __LINE__);
        return {};
    }
    return window;
}

} // namespace espalier::test
