// SPDX-License-Identifier: MIT
//
//     random_operations [COUNT [SEED]]
//
// In rows of 100 on a scene of their own, each with a seed of its own that is printed when anything is wrong.
#include "tests/faults/fault_run.h"
#include "tests/faults/random_rounds.h"

#include <algorithm>
#include <cstdio>
#include <cstdlib>

#include <unistd.h>

using namespace espalier::test;

int main(int argc, char** argv)
{
    constexpr std::size_t row = 100;
    const std::size_t count = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 10000;
    const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
    const auto root = scratchFolder() / ("espalier-random-" + std::to_string(::getpid()));
    std::size_t done = 0, faults = 0, wrong = 0;
    for (std::uint64_t next = seed; done < count; ++next) {
        const RandomReport report = randomOperations(root, std::min(row, count - done), next);
        for (const std::string& line : report.wrong)
            std::printf("seed %llu: %s\n", static_cast<unsigned long long>(next), line.c_str());
        // What was cut short counts as whole, so that the seeds stay those of the rows.
        done += std::min(row, count - done);
        faults += report.faults;
        wrong += report.wrong.empty() ? 0 : 1;
        if (done % 1000 == 0 || done == count || !report.wrong.empty())
            std::printf("%zu operations, %zu with a fault, seeds %llu to %llu, %zu rows wrong\n", done, faults,
                        static_cast<unsigned long long>(seed), static_cast<unsigned long long>(next), wrong);
        std::fflush(stdout);
    }
    return wrong == 0 ? 0 : 1;
}
