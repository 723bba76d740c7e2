// SPDX-License-Identifier: MIT
//
// How long the settle page takes for a large file: from the moment at which it is asked for a conflict of 200,000 lines and 1,000
// hunks to the moment at which it is painted, and for a key typed in it.
//
//     build/bench/tests/bench/settle_times [LINES [HUNKS]]     with QT_QPA_PLATFORM=offscreen or under Xvfb
#include "app/settle/conflict_editor.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "tests/support/temp_repository.h"
#include "tests/support/topic_plan.h"

#include <QApplication>
#include <QElapsedTimer>
#include <QPushButton>
#include <QtTest>

#include <algorithm>
#include <cstdio>
#include <ctime>

using namespace espalier;

namespace {

// A file of code whose hunks are evenly spread; `side` names who changed them.
std::string fileOf(int lines, int hunks, const char* side)
{
    std::string text;
    const int every = lines / hunks;
    for (int i = 0; i < lines; ++i) {
        const std::string number = std::to_string(i);
        if (side && i % every == every / 2)
            text += "    return measure(" + number + ", " + side + ");\n";
        else if (i % 10 == 0)
            text += "int level" + number + "(int tide)\n";
        else
            text += "    tide = tide + " + number + "; // what is measured at the pier\n";
    }
    return text;
}

// Of the GUI thread: what the clock says goes with what else the machine does.
double ownTime()
{
    timespec time{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return double(time.tv_sec) * 1e3 + double(time.tv_nsec) / 1e6;
}

double median(std::vector<double> all)
{
    std::ranges::sort(all);
    return all[all.size() / 2];
}

} // namespace

int main(int argc, char** argv)
{
    QApplication application(argc, argv);
    const int lines = argc > 1 ? std::atoi(argv[1]) : 200'000, hunks = argc > 2 ? std::atoi(argv[2]) : 1'000;
    test::TempRepository repo;
    const auto base = repo.commitFiles({{"level.cpp", fileOf(lines, hunks, nullptr)}}, "Base", {}, "main");
    repo.commitFiles({{"level.cpp", fileOf(lines, hunks, "mine")}}, "Mine", {base}, "topic/x");
    repo.commitFiles({{"level.cpp", fileOf(lines, hunks, "theirs")}}, "Upstream", {base}, "main");
    test::OpenTopic open;
    test::openTopic(repo, "refs/heads/topic/x", open);
    if (!open.plan)
        return 1;
    SettlePage page(open.session.get(), open.flow.get());
    page.resize(1400, 900);
    page.show();
    QElapsedTimer clock;
    clock.start();
    open.flow->start(*open.plan);
    while (!open.flow->run() || open.flow->isBusy())
        QCoreApplication::processEvents(QEventLoop::WaitForMoreEvents);
    std::printf("dry run              %6.0f ms\n", double(clock.nsecsElapsed()) / 1e6);
    clock.restart();
    auto* editor = page.findChild<ConflictEditor*>();
    const double before = ownTime();
    page.begin();
    while (editor->currentHunk() < 0)
        QCoreApplication::processEvents(QEventLoop::WaitForMoreEvents);
    const double shown = double(clock.nsecsElapsed()) / 1e6;
    page.grab();
    std::printf("shown                %6.0f ms\npainted              %6.0f ms\nof it the GUI thread %6.0f ms\n", shown,
                double(clock.nsecsElapsed()) / 1e6, ownTime() - before);
    TextPane* middle = editor->pane(ConflictEditor::Pane::Settled);
    middle->setFocus();
    std::vector<double> keys;
    for (int i = 0; i < 100; ++i) {
        const double from = ownTime();
        QTest::keyClick(middle, Qt::Key_X);
        middle->viewport()->repaint();
        keys.push_back(ownTime() - from);
    }
    std::printf("key, median          %8.1f ms\nkey, longest         %8.1f ms\n", median(keys),
                *std::ranges::max_element(keys));
    clock.restart();
    editor->decide(Choice::NewBase);
    std::printf("decision             %8.1f ms\n", double(clock.nsecsElapsed()) / 1e6);
    return 0;
}
