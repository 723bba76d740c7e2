// SPDX-License-Identifier: MIT
//
// What moved since somebody looked last: how many commits the main line has that it had not, and which branches, untouched
// themselves, would fare otherwise on it by now.
//
//     const News news = newsSince(Look::parse(kept), lookAt(snapshot, forecasts), *snapshot).value();
//     if (!news.empty()) …
#pragma once

#include "core/replay/dry_run.h"

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// What was to be seen at one time. As text it is a line a branch, with the main line's tip in the first.
struct Look {
    struct Branch {
        Oid tip;
        Forecast::Kind outcome = Forecast::Unknown;
        friend bool operator==(const Branch&, const Branch&) = default;
    };
    Oid mainTip; // zero: nothing was seen
    std::map<std::string, Branch> branches;

    std::string text() const;
    // What is no look, in whole or in a line, is as if it had not been seen. At most as many branches as text() writes.
    static Look parse(std::string_view text);
    friend bool operator==(const Look&, const Look&) = default;
};

// Branches by full name; those without an answer are left out.
Look lookAt(const Snapshot& snapshot, const std::map<std::string, Forecast>& forecasts);

struct News {
    std::size_t commits = 0; // that the main line has and had not
    // Full names, in order. What conflicts now landed cleanly before, or had landed.
    std::vector<std::string> nowConflict;
    std::vector<std::string> nowClean, nowLanded;
    bool empty() const { return commits == 0 && nowConflict.empty() && nowClean.empty() && nowLanded.empty(); }
};

// Nothing is new when nothing was seen before. A branch whose own tip moved is the user's doing and no news. Errors: Cancelled.
Result<News> newsSince(const Look& before, const Look& now, const Snapshot& snapshot, const Progress& progress = {});

} // namespace espalier
