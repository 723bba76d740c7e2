// SPDX-License-Identifier: MIT
//
// Paints the graph while it scrolls, offscreen, and prints how long a frame takes. Run by hand:
//
//     QT_QPA_PLATFORM=offscreen scroll_frames REPOSITORY        the repository's history
//     QT_QPA_PLATFORM=offscreen scroll_frames --synthetic N     N commits without a repository (no subjects)
//
// Times are those of the processor, so that other programs of a busy machine do not count; the wall clock's worst is beside.
//
// The goal is a 99th percentile below 8.3 ms (120 frames a second); see doc, figures to reach.
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/support/theme.h"
#include "tests/support/synthetic_history.h"

#include <QApplication>
#include <QElapsedTimer>
#include <QScrollBar>
#include <QTest>

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <random>

using namespace espalier;

namespace {

// Processor time of this thread: painting has no other.
double processorMilliseconds()
{
    timespec now{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return double(now.tv_sec) * 1e3 + double(now.tv_nsec) / 1e6;
}

struct Frames {
    std::vector<double> milliseconds, wall;
    double at(double part) const { return milliseconds[std::size_t(double(milliseconds.size() - 1) * part)]; }
};

// Steps of `step` pixels from `start`, or jumps to random places when `step` is 0.
Frames scroll(GraphList& list, int start, int step, int count)
{
    std::mt19937 dice(7);
    QScrollBar* bar = list.verticalScrollBar();
    QImage image(list.viewport()->size(), QImage::Format_RGB32);
    Frames frames;
    bar->setValue(start);
    for (int at = 0; at < count; ++at) {
        bar->setValue(step != 0 ? start + at * step : int(dice() % unsigned(std::max(1, bar->maximum()))));
        // Summaries arrive between frames as they do in use; their handling is part of the frame.
        QElapsedTimer clock;
        clock.start();
        const double before = processorMilliseconds();
        QCoreApplication::processEvents();
        list.viewport()->render(&image);
        frames.milliseconds.push_back(processorMilliseconds() - before);
        frames.wall.push_back(double(clock.nsecsElapsed()) / 1e6);
    }
    std::ranges::sort(frames.wall);
    std::ranges::sort(frames.milliseconds);
    return frames;
}

void print(const char* name, const Frames& frames)
{
    std::printf(
        "%-28s median %6.2f ms   99th percentile %6.2f ms   worst %6.2f ms   wall 99th %6.2f ms   (%zu frames)\n", name,
        frames.at(0.5), frames.at(0.99), frames.milliseconds.back(), frames.wall[frames.wall.size() * 99 / 100],
        frames.milliseconds.size());
}

Result<SnapshotPtr> load(const QStringList& arguments)
{
    if (arguments.value(1) == QLatin1String("--synthetic"))
        return test::snapshotOf(test::randomShape(1, arguments.value(2).toULongLong()));
    const auto repository = Repository::open(arguments.value(1).toStdString());
    if (!repository)
        return std::unexpected(repository.error());
    return takeSnapshot(*repository);
}

} // namespace

int main(int argc, char** argv)
{
    QApplication application(argc, argv);
    theme::apply(application, theme::Scheme::Light);
    const auto snapshot = load(application.arguments());
    if (!snapshot) {
        std::fprintf(stderr, "%s\n", snapshot.error().line().c_str());
        return 2;
    }
    const LanesPtr lanes = layOut(*snapshot).value();
    GraphView view;
    view.resize(1600, 1000);
    view.setSnapshot(*snapshot, lanes);
    view.show();
    auto* list = view.findChild<GraphList*>();
    QTest::qWait(300);
    std::printf("%zu rows\n", lanes->rowCount());
    constexpr int frames = 1500;
    const int middle = list->verticalScrollBar()->maximum() / 2;
    print("three rows a frame, top", scroll(*list, 0, 78, frames));
    print("three rows a frame, middle", scroll(*list, middle, 78, frames));
    print("a page a frame", scroll(*list, middle, 900, frames));
    print("random places", scroll(*list, 0, 0, frames));
    return 0;
}
