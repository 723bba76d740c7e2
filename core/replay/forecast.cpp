// SPDX-License-Identifier: MIT
#include "core/replay/forecast.h"

#include "core/history/drift.h"
#include "core/history/equivalence.h"
#include "core/merge/tree_merge.h"
#include "core/replay/batch.h"
#include "core/replay/forecast_store.h"

#include <algorithm>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>
#include <unordered_map>

namespace espalier {

namespace {

// Own commits up to which a branch is answered in the order it was asked for.
constexpr std::uint32_t fewCommits = 30;
// Kept answers are written this often, so that a run that is cut short has not been for nothing.
constexpr std::size_t savedEvery = 64;
// Each has its caches, and a forecast runs beside all else that a window does.
constexpr unsigned mostThreads = 2;
// Of the objects that one thread has read.
constexpr std::size_t cacheBytes = std::size_t(8) << 20;

// A commit, and the branches that stand there.
struct Question {
    Oid tip;
    std::vector<int> refs;
};

// In the order in which they are answered; the first `cheap` have few commits.
struct Order {
    std::vector<Question> questions;
    std::size_t cheap = 0;
};
Order inOrder(const Snapshot& snapshot, std::span<const int> refs, const Ref& mainLine, const Progress& progress)
{
    std::vector<Row> tips;
    for (const int index : refs)
        tips.push_back(snapshot.refs[std::size_t(index)].row);
    const auto drift = driftOfAll(snapshot.history, mainLine.row, tips, progress);
    std::vector<std::pair<std::uint32_t, int>> cost;
    for (std::size_t i = 0; i < refs.size(); ++i) {
        const std::uint32_t ahead = drift ? (*drift)[i].ahead : 0;
        cost.emplace_back(ahead <= fewCommits ? 0 : ahead, refs[i]);
    }
    std::ranges::stable_sort(cost, {}, &std::pair<std::uint32_t, int>::first);
    Order order;
    std::unordered_map<Oid, std::size_t> numbers;
    for (const auto& [ahead, index] : cost) {
        const Oid& tip = snapshot.refs[std::size_t(index)].tip;
        const auto [at, isNew] = numbers.try_emplace(tip, order.questions.size());
        if (isNew) {
            order.questions.push_back({tip, {}});
            order.cheap += ahead == 0;
        }
        order.questions[at->second].refs.push_back(index);
    }
    return order;
}

// Hands questions to several threads, and what they answer to the one that waits: the cheap ones in their order, then the
// rest as it comes.
class Desk {
  public:
    Desk(std::size_t questions, std::size_t cheap)
        : m_questions(questions), m_cheap(cheap), m_dear(cheap), m_states(cheap)
    {
    }

    struct Task {
        std::size_t question;
        bool atLength; // else it is put off when it takes long to tell
    };
    // For a thread that answers; nothing when there is no more to do.
    std::optional<Task> next()
    {
        std::unique_lock lock(m_mutex);
        m_changed.wait(lock, [this] {
            return m_failure || m_begun < m_cheap || !m_putOff.empty() || m_dear < m_questions || m_turn == m_cheap;
        });
        if (m_failure)
            return std::nullopt;
        if (m_begun < m_cheap)
            return Task{m_begun++, false};
        if (!m_putOff.empty()) {
            const Task task{m_putOff.front(), true};
            m_putOff.pop_front();
            return task;
        }
        if (m_dear < m_questions)
            return Task{m_dear++, true};
        return std::nullopt;
    }
    // Nothing: put off.
    void answer(const Task& task, std::optional<Forecast> forecast)
    {
        const std::scoped_lock lock(m_mutex);
        if (task.atLength) {
            m_late.emplace_back(task.question, std::move(*forecast));
        } else {
            if (!forecast)
                m_putOff.push_back(task.question);
            m_states[task.question] = {true, std::move(forecast)};
            for (; m_turn < m_cheap && m_states[m_turn].known; ++m_turn)
                if (m_states[m_turn].forecast)
                    m_ready.emplace_back(m_turn, std::move(*m_states[m_turn].forecast));
        }
        if (m_turn == m_cheap)
            std::ranges::move(std::exchange(m_late, {}), std::back_inserter(m_ready));
        m_changed.notify_all();
    }
    void fail(const Error& error)
    {
        const std::scoped_lock lock(m_mutex);
        m_failure = error;
        m_changed.notify_all();
    }

    using Answer = std::pair<std::size_t, Forecast>;
    // For the one that waits; called once for each question.
    Result<Answer> take()
    {
        std::unique_lock lock(m_mutex);
        m_changed.wait(lock, [this] { return m_failure || !m_ready.empty(); });
        if (m_ready.empty())
            return std::unexpected(*m_failure);
        Answer first = std::move(m_ready.front());
        m_ready.pop_front();
        return first;
    }

  private:
    struct State {
        bool known = false;
        std::optional<Forecast> forecast; // nothing: put off
    };
    std::mutex m_mutex;
    std::condition_variable m_changed;
    const std::size_t m_questions, m_cheap;
    std::size_t m_begun = 0;          // of the cheap ones
    std::size_t m_dear;               // the next of the others
    std::size_t m_turn = 0;           // the first of the cheap ones of which nothing is known
    std::vector<State> m_states;      // of the cheap ones
    std::deque<std::size_t> m_putOff; // not begun again
    std::vector<Answer> m_late;       // to be given after the cheap ones
    std::deque<Answer> m_ready;
    std::optional<Error> m_failure;
};

void work(Desk& desk, const std::filesystem::path& path, std::span<const Question> questions, const Oid& onto,
          const History& history, const SharedReading& reading, const std::stop_token& stop)
{
    const auto repository = Repository::open(path);
    if (!repository)
        return desk.fail(repository.error());
    BatchOptions options;
    options.cacheBytes = cacheBytes;
    options.history = &history;
    Batch batch(*repository, options, reading);
    const Progress progress{stop, {}};
    while (const auto task = desk.next()) {
        if (progress.stopped())
            return desk.fail(cancelled().error());
        const Oid& tip = questions[task->question].tip;
        const auto run =
            task->atLength
                ? batch.run(tip, onto, progress).transform([](DryRun&& made) { return std::optional(std::move(made)); })
                : batch.runInAHurry(tip, onto, progress);
        if (!run && run.error().kind == ErrorKind::Cancelled)
            return desk.fail(run.error());
        if (run && !*run) {
            desk.answer(*task, std::nullopt);
            continue;
        }
        Forecast made;
        if (run)
            made = forecastOf(**run);
        else
            made.reason = run.error().line();
        desk.answer(*task, std::move(made));
    }
}

} // namespace

Result<void> forecasts(const Repository& repository, const Snapshot& snapshot, std::span<const int> refs,
                       const std::function<void(int ref, const Forecast& forecast)>& deliver, const Progress& progress,
                       const ForecastOptions& options)
{
    const Ref* mainLine = snapshot.mainLineRef();
    std::vector<int> asked;
    for (int i = 0; refs.empty() && i < int(snapshot.refs.size()); ++i)
        if (snapshot.refs[std::size_t(i)].kind == RefKind::Branch)
            asked.push_back(i);
    std::ranges::copy_if(refs, std::back_inserter(asked),
                         [&](int index) { return index >= 0 && std::size_t(index) < snapshot.refs.size(); });
    if (!mainLine) {
        Forecast none;
        none.reason = "There is no main line";
        for (const int index : asked)
            deliver(index, none);
        return {};
    }
    std::optional<ForecastStore> store;
    if (options.keep)
        store.emplace(repository);
    std::vector<int> open;
    std::uint64_t done = 0;
    for (const int index : asked) {
        const Oid& tip = snapshot.refs[std::size_t(index)].tip;
        if (const auto kept = store ? store->find(tip, mainLine->tip) : std::nullopt) {
            deliver(index, *kept);
            ++done;
        } else {
            open.push_back(index);
        }
    }
    if (open.empty())
        return {};
    if (progress.stopped())
        return cancelled();
    const Order order = inOrder(snapshot, open, *mainLine, progress);
    const SharedReading reading{options.equivalence
                                    ? options.equivalence
                                    : std::make_shared<EquivalenceCache>(forForecasts, snapshot.history.overrides()),
                                std::make_shared<const MergeCaches>()};
    Desk desk(order.questions.size(), order.cheap);
    const std::size_t threads =
        std::min<std::size_t>({std::max(1u, std::thread::hardware_concurrency()), mostThreads, order.questions.size()});
    std::vector<std::jthread> workers;
    for (std::size_t i = 0; i < threads; ++i)
        workers.emplace_back([&] {
            work(desk, repository.path(), order.questions, mainLine->tip, snapshot.history, reading, progress.stop);
        });
    Result<void> result;
    for (std::size_t i = 0; i < order.questions.size(); ++i) {
        progress.report("Forecasting", done, asked.size());
        const auto answer = progress.stopped() ? cancelled() : desk.take();
        if (!answer) {
            result = std::unexpected(answer.error());
            break;
        }
        const Question& question = order.questions[answer->first];
        if (store)
            store->keep(question.tip, mainLine->tip, answer->second);
        // What cannot be written is computed again the next time; nobody has to hear of it.
        if (store && (i + 1) % savedEvery == 0)
            (void)store->save();
        for (const int index : question.refs) {
            deliver(index, answer->second);
            ++done;
        }
    }
    if (store)
        (void)store->save();
    return result;
}

} // namespace espalier
