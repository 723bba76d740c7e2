# SPDX-License-Identifier: MIT
# The picture's data: loading, ordering and laying out, drift of every ref, and which commits have landed. ESPALIER_SHAPE names
# a shape file (see build-shape); without it a synthetic history of ESPALIER_BENCH_COMMITS commits is used.
shape=$work/shape
if [ -n "${ESPALIER_SHAPE:-}" ]; then
    "$here/build-shape" "$ESPALIER_SHAPE" "$shape"
else
    "$here/build-shape" --synthetic "${ESPALIER_BENCH_COMMITS:-160000}" "$shape"
fi
content=$work/content
"$here/build-content" "$content"

# Seconds, Google Benchmark's median over five repetitions: benchmark, repository.
measured() {
    ESPALIER_BENCH_REPOSITORY=$2 ESPALIER_BENCH_TOPIC=topic "$build/tests/bench/bench_history" \
        --benchmark_filter="^$1/" --benchmark_format=json --benchmark_repetitions=5 --benchmark_min_time=0.01s \
        --benchmark_report_aggregates_only=true 2>"$work/err" |
        python3 -c 'import json, sys
print(*(b["real_time"] / 1000 for b in json.load(sys.stdin)["benchmarks"] if b["aggregate_name"] == "median"))'
}

for kind in without with; do
    if [ $kind = with ]; then
        git -C "$shape" commit-graph write --reachable --no-progress
    fi
    gitTook=$(median git -C "$shape" rev-list --topo-order --parents --all)
    row "load, order, lay out, $kind commit-graph" "$gitTook" "$(measured loadAndLayOut "$shape")"
    row "load and order alone, $kind commit-graph" "$gitTook" "$(measured loadHistory "$shape")"
done
# Once only: git takes the better part of a minute.
start=$(date +%s.%N)
git -C "$shape" for-each-ref --format="%(ahead-behind:$(git -C "$shape" rev-parse refs/remotes/upstream/main))" >"$work/out"
gitTook=$(echo "$(date +%s.%N) - $start" | bc -l)
row "drift of $(wc -l <"$work/out") refs" "$gitTook" "$(measured driftOfEveryRef "$shape")"
row "which of 40 commits landed among 3000" "$(median git -C "$content" cherry main topic)" \
    "$(measured landedTopic "$content")"
