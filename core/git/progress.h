// SPDX-License-Identifier: MIT
//
// How long work reports and how it is stopped. Passed by const reference to every core function that can last.
//
//     Progress quiet;                       // tells nobody, cannot be stopped
//     Progress shown{source.get_token(), [](auto step, auto done, auto total) { … }};
#pragma once

#include <cstdint>
#include <functional>
#include <stop_token>
#include <string_view>

namespace espalier {

struct Progress {
    std::stop_token stop;
    // What is being done, and how much of it; `total` is 0 while it is not known. Called from the working thread.
    std::function<void(std::string_view step, std::uint64_t done, std::uint64_t total)> tell;

    bool stopped() const { return stop.stop_requested(); }
    void report(std::string_view step, std::uint64_t done = 0, std::uint64_t total = 0) const
    {
        if (tell)
            tell(step, done, total);
    }
};

} // namespace espalier
