#!/bin/sh
# SPDX-License-Identifier: MIT
# Rows of the side-by-side table: history, drift and landed. Medians of RUNS runs, one after the other on one machine.
#
#     BUILD=build/bench SHAPE=/path/to/shape CONTENT=/path/to/content [RUNS=5] tests/bench/sections/history.sh
#
# SHAPE is a repository made by build-shape (with or without a commit-graph), CONTENT one made by build-content.
set -eu
: "${BUILD:?}" "${SHAPE:?}" "${CONTENT:?}" "${RUNS:=5}"
bench=$BUILD/tests/bench/bench_history

# Milliseconds, the median over RUNS of a command's wall time.
reference() {
    python3 - "$RUNS" "$@" <<'PYTHON'
import statistics, subprocess, sys, time
times = []
for _ in range(int(sys.argv[1])):
    start = time.monotonic()
    subprocess.run(sys.argv[2:], check=True, stdout=subprocess.DEVNULL)
    times.append(1000 * (time.monotonic() - start))
print(f"{statistics.median(times):.1f}")
PYTHON
}
ours() { # repository, benchmark
    ESPALIER_BENCH_REPOSITORY=$1 ESPALIER_BENCH_TOPIC=topic "$bench" --benchmark_filter="^$2/" --benchmark_format=json \
        --benchmark_repetitions="$RUNS" --benchmark_report_aggregates_only=true 2>/dev/null |
        python3 -c 'import json,sys; print(next("%.1f" % b["real_time"] for b in json.load(sys.stdin)["benchmarks"] if b["aggregate_name"] == "median"))'
}
row() { # work, ours, reference, goal
    python3 -c 'import sys; w, o, r, g = sys.argv[1:]; print(f"| {w} | {o} ms | {r} ms | {float(o) / float(r):.3f} | {g} |")' "$@"
}

if [ -e "$SHAPE/.git/objects/info/commit-graph" ] || [ -e "$SHAPE/objects/info/commit-graph" ]; then
    kind="with a commit-graph" goal=0.5
else
    kind="without a commit-graph" goal=1.0
fi
row "load, order and lay out, $kind" "$(ours "$SHAPE" loadAndLayOut)" \
    "$(reference git -C "$SHAPE" rev-list --topo-order --parents --all)" "$goal"
row "load and order alone, $kind" "$(ours "$SHAPE" loadHistory)" \
    "$(reference git -C "$SHAPE" rev-list --topo-order --parents --all)" "-"
main=$(git -C "$SHAPE" rev-parse refs/remotes/upstream/main)
slow=$RUNS RUNS=1
behind=$(reference git -C "$SHAPE" for-each-ref --format="%(ahead-behind:$main)")
RUNS=$slow
row "drift of every ref" "$(ours "$SHAPE" driftOfEveryRef)" "$behind" 0.02
row "which commits have landed" "$(ours "$CONTENT" landedTopic)" "$(reference git -C "$CONTENT" cherry main topic)" 0.5
