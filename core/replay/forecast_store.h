// SPDX-License-Identifier: MIT
//
// Forecasts kept between runs, in commonDir()/espalier/forecasts. An answer is kept under the tip, the base and everything else
// that a merge depends on, so that it cannot be stale: whatever changes makes another key. Safe to delete at any time.
// Private to core/replay.
//
//     ForecastStore store(repository);
//     if (auto known = store.find(tip, base)) …
//     store.keep(tip, base, forecast); … store.save();
#pragma once

#include "core/replay/dry_run.h"

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>

namespace espalier {

class ForecastStore {
  public:
    // What is damaged or of another version is as if it were not there.
    explicit ForecastStore(const Repository& repository);

    std::optional<Forecast> find(const Oid& tip, const Oid& base);
    // An Unknown one is not kept: the next run may know.
    void keep(const Oid& tip, const Oid& base, const Forecast& forecast);
    // Only when something was kept. What no run has asked for lately goes when there are too many.
    // Errors: Storage; nothing but time is lost by it.
    Result<void> save();

    // A sum over what a dry run's outcome depends on besides its commits: configuration, attributes outside the trees, what
    // stands in for commits, and this program's own version of the answers.
    static std::string inputsOf(const Repository& repository);

  private:
    struct Kept {
        Forecast forecast;
        std::uint64_t asked = 0; // the number of the run that asked for it last
    };
    void parse(std::string_view text);

    std::filesystem::path m_file;
    std::string m_inputs;
    std::map<std::pair<Oid, Oid>, Kept> m_kept;
    std::uint64_t m_run = 1;
    bool m_changed = false;
};

} // namespace espalier
