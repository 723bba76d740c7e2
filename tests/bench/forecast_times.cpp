// SPDX-License-Identifier: MIT
//
// How long the forecast of a repository's branches takes: until the first, nine of ten and all have their answer, from the
// start of the program, with the history's load; and the most memory it held.
//
//     forecast_times REPOSITORY            nothing kept is read or written
//     forecast_times REPOSITORY kept       as the window does it: the second run reads what the first one kept
#include "core/history/equivalence.h"
#include "core/history/snapshot.h"
#include "core/replay/forecast.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <map>
#include <string_view>

#include <sys/resource.h>

using namespace espalier;

namespace {

double sinceStart()
{
    static const auto start = std::chrono::steady_clock::now();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

long peakMegabytes()
{
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss / 1024;
}

} // namespace

int main(int argc, char** argv)
{
    sinceStart();
    auto repository = Repository::open(argc > 1 ? argv[1] : ".");
    if (!repository) {
        std::fprintf(stderr, "%s\n", repository.error().line().c_str());
        return 2;
    }
    auto snapshot = takeSnapshot(*repository);
    if (!snapshot) {
        std::fprintf(stderr, "%s\n", snapshot.error().line().c_str());
        return 2;
    }
    const double loaded = sinceStart();
    const long loadedMegabytes = peakMegabytes();
    std::vector<double> times;
    std::map<std::string_view, int> answers;
    ForecastOptions options;
    options.keep = argc > 2 && argv[2] == std::string_view("kept");
    options.equivalence = std::make_shared<EquivalenceCache>(forForecasts);
    const auto done = forecasts(
        *repository, **snapshot, {},
        [&](int, const Forecast& forecast) {
            times.push_back(sinceStart());
            ++answers[forecast.kind == Forecast::Unknown ? "unknown" : "known"];
        },
        {}, options);
    if (!done) {
        std::fprintf(stderr, "%s\n", done.error().line().c_str());
        return 2;
    }
    const auto at = [&](double part) {
        return times.empty() ? 0.0 : times[std::min(times.size() - 1, std::size_t(double(times.size()) * part))];
    };
    std::printf(
        "loaded %.2f s (%ld MB), first %.2f s, half %.2f s, nine of ten %.2f s, all %zu %.2f s, %ld MB, %d unknown\n",
        loaded, loadedMegabytes, at(0), at(0.5), at(0.9), times.size(), at(1), peakMegabytes(), answers["unknown"]);
    return 0;
}
