# SPDX-License-Identifier: MIT
# The picture's data: loading, ordering and laying out, drift of every ref, which commits have landed, frames, memory. On a
# synthetic history of ESPALIER_BENCH_COMMITS commits (a million), and on a real one when ESPALIER_SHAPE names a shape file
# (see build-shape).
repositories=
if [ -n "${ESPALIER_SHAPE:-}" ]; then
    "$here/build-shape" "$ESPALIER_SHAPE" "$work/shape"
    repositories=shape
fi
"$here/build-shape" --synthetic "${ESPALIER_BENCH_COMMITS:-1000000}" "$work/synthetic"
repositories="$repositories synthetic"
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

report=$work/report
for name in $repositories; do
    repository=$work/$name
    commits=$(git -C "$repository" rev-list --all --count)
    for kind in without with; do
        if [ $kind = with ]; then
            git -C "$repository" commit-graph write --reachable --no-progress
        fi
        gitTook=$(median git -C "$repository" rev-list --topo-order --parents --all)
        row "$commits commits: load, order, lay out, $kind commit-graph" "$gitTook" "$(measured loadAndLayOut "$repository")"
        row "$commits commits: load and order, $kind commit-graph" "$gitTook" "$(measured loadHistory "$repository")"
        row "$commits commits: again after one new, $kind commit-graph" "$gitTook" "$(measured reloadAfterOneCommit "$repository")"
    done
    # Once only: git takes the better part of a minute.
    start=$(date +%s.%N)
    git -C "$repository" for-each-ref \
        --format="%(ahead-behind:$(git -C "$repository" rev-parse refs/remotes/upstream/main))" >"$work/out"
    gitTook=$(echo "$(date +%s.%N) - $start" | bc -l)
    row "$commits commits: drift of $(wc -l <"$work/out") refs" "$gitTook" "$(measured driftOfEveryRef "$repository")"
    {
        printf '\n%s commits, frames while scrolling and memory:\n' "$commits"
        QT_QPA_PLATFORM=offscreen "$build/tests/bench/scroll_frames" "$repository"
        "$build/app/espalier" layout "$repository" --bench
    } >>"$report" 2>"$work/err"
done
row "which of 40 commits landed among 3000" "$(median git -C "$content" cherry main topic)" \
    "$(measured landedTopic "$content")"
