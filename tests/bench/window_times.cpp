// SPDX-License-Identifier: MIT
//
// What the window takes on a real repository, in wall time from the start of the program: until its first look is painted, until
// the first, nine of ten and all of its branches' forecasts are there, and until its local changes are counted; then, for topics
// that are far behind, from the beginning of a drag until the gathered picture is painted; and the most memory that it held.
//
//     window_times REPOSITORY [TOPICS]    TOPICS of the topics furthest behind (20)
#include "app/drift/drift_board.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/support/theme.h"
#include "app/window/main_window.h"

#include <QElapsedTimer>
#include <QSignalSpy>
#include <QStandardPaths>
#include <QtTest>

#include <algorithm>
#include <cstdio>
#include <set>

#include <sys/resource.h>

using namespace espalier;

namespace {

constexpr int patience = 600'000;

// Whether something is painted again.
class Painted : public QObject {
  public:
    explicit Painted(QWidget* widget) { widget->installEventFilter(this); }
    bool eventFilter(QObject*, QEvent* event) override
    {
        m_is = m_is || event->type() == QEvent::Paint;
        return false;
    }
    void forget() { m_is = false; }
    bool is() const { return m_is; }

  private:
    bool m_is = false;
};

// The widget's events are handled one by one until it holds; no pause between that would count as the program's.
bool waitUntil(const std::function<bool()>& holds)
{
    QElapsedTimer waited;
    for (waited.start(); !holds() && waited.elapsed() < patience;)
        QCoreApplication::processEvents(QEventLoop::WaitForMoreEvents);
    return holds();
}

} // namespace

int main(int argc, char** argv)
{
    QElapsedTimer clock;
    clock.start();
    const auto seconds = [&] { return double(clock.nsecsElapsed()) / 1e9; };
    QApplication application(argc, argv);
    QStandardPaths::setTestModeEnabled(true); // nobody's settings
    QApplication::setApplicationName(QStringLiteral("espalier-bench"));
    theme::apply(application);
    // Events come again and again, so that waiting for one ends.
    QTimer ticks;
    ticks.start(5);
    MainWindow window;
    window.resize(1400, 900);
    window.show();
    Session* session = window.session();
    GraphView* graph = window.graph();
    auto* list = graph->findChild<GraphList*>();
    Painted painted(list->viewport());
    std::set<QString> known;
    std::vector<double> answers; // when the first came of each, in seconds
    QObject::connect(session, &Session::forecastChanged, session, [&](const QString& ref) {
        if (known.insert(ref).second)
            answers.push_back(seconds());
    });
    double counted = 0;
    QObject::connect(session, &Session::localChangesCounted, session, [&] {
        if (counted == 0)
            counted = seconds();
    });
    QSignalSpy done(session, &Session::forecastsDone);
    window.openRepository(QString::fromLocal8Bit(argc > 1 ? argv[1] : "."));
    if (!waitUntil([&] { return list->model()->rowCount() > 0; })) {
        std::fprintf(stderr, "window_times: nothing was opened\n");
        return 2;
    }
    painted.forget();
    waitUntil([&] { return painted.is(); });
    const double looked = seconds();
    const int rows = list->model()->rowCount();
    waitUntil([&] { return session->snapshot() != nullptr; }); // the first rows come before the history is read
    std::printf("first look painted after %.2f s, %d rows of %u commits\n", looked, rows,
                unsigned(session->snapshot()->history.size()));
    waitUntil([&] { return !done.isEmpty(); });
    if (answers.empty())
        answers.push_back(seconds());
    std::printf("forecasts: first after %.2f s, nine of ten of %zu after %.2f s, all after %.2f s\n", answers.front(),
                answers.size(), answers[(answers.size() * 9 + 9) / 10 - 1], seconds());
    waitUntil([&] { return counted > 0; });
    const auto& changes = session->localChanges();
    std::printf("local changes counted after %.2f s: %s\n", counted, changes ? changes->words().c_str() : "none");
    waitUntil([&] { return list->model()->isIdle(); });

    const auto drift = session->drift();
    std::vector<BranchDrift> topics = drift->branches;
    std::erase_if(topics, [&](const BranchDrift& each) { return each.ahead == 0 || each.mergeBase == noRow; });
    std::ranges::sort(topics, std::greater(), &BranchDrift::behind);
    topics.resize(std::min(topics.size(), std::size_t(argc > 2 ? std::atoi(argv[2]) : 20)));
    std::vector<double> times;
    int mostRows = 0;
    for (const BranchDrift& each : topics) {
        const Ref& ref = drift->snapshot->refs[std::size_t(each.ref)];
        const DragSource source{ref.name, {}, ref.tip, true, QString::fromStdString(ref.branch)};
        painted.forget();
        const double began = seconds();
        graph->gatherFor(source);
        waitUntil([&] { return graph->isGathered(); });
        painted.forget();
        list->viewport()->update();
        waitUntil([&] { return painted.is(); });
        times.push_back((seconds() - began) * 1000);
        mostRows = std::max(mostRows, list->model()->rowCount());
        QTest::qWait(300); // what touches the same files is found and put in
        graph->scatter();
        waitUntil([&] { return !graph->isGathered() && list->model()->isIdle(); });
    }
    std::ranges::sort(times);
    if (!times.empty())
        std::printf(
            "gathered and painted, %zu topics %u to %u behind: median %.0f ms, longest %.0f ms; at most %d rows, room "
            "for %d\n",
            times.size(), topics.back().behind, topics.front().behind, times[times.size() / 2], times.back(), mostRows,
            list->roomForRows());
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    std::printf("most memory %ld MB\n", usage.ru_maxrss / 1024);
    std::fflush(stdout);
    std::_Exit(0);
}
