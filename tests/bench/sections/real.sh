# SPDX-License-Identifier: MIT
# Real projects: ESPALIER_BENCH_REAL names them, one a line, as "REPOSITORY MAIN PATTERN": a bare clone with a commit-graph or
# without, the main line's ref, and which refs are topics (refs/pull/*/head, say). ESPALIER_BENCH_REAL_TOPICS (1000) of the
# single-commit ones are taken, evenly over all, and replayed onto the main line ("far") and onto the third commit of the main
# line behind the topic's start ("fresh"). Nothing of the repository is written but its `espalier` folder, which is removed
# before each first run.
# What a command held at most, its output thrown away.
mostMemory() {
    python3 -c 'import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024, "MB for the batch")' "$@"
}
real() {
    local repo=$1 main=$2 pattern=$3 name commits kind gitTook own
    name=$(basename "$(dirname "$repo")")
    rm -rf "$repo/espalier"
    git -C "$repo" for-each-ref --format="%(objectname) %(ahead-behind:$main)" "$pattern" >"$work/heads"
    # A merge is one commit of its own now, and was thousands when the main line lacked what it brought.
    awk '$2 == 1 && $3 > 0 { print $1 }' "$work/heads" | sort -u |
        git -C "$repo" rev-list --no-walk=unsorted --no-merges --stdin >"$work/single"
    own=$(wc -l <"$work/single")
    awk -v n="${ESPALIER_BENCH_REAL_TOPICS:-1000}" -v all="$own" \
        'int(NR * n / all) > int((NR - 1) * n / all)' "$work/single" >"$work/topics"
    git -C "$repo" rev-parse "$main" >"$work/main"
    git -C "$repo" rev-list --first-parent --reverse "$main" >"$work/line"
    : >"$work/far" && : >"$work/fresh" && : >"$work/far.pairs" && : >"$work/fresh.pairs"
    while read -r topic; do
        local parent fresh
        parent=$(git -C "$repo" rev-parse "$topic^")
        echo "$parent -- $(cat "$work/main") $topic" >>"$work/far"
        echo "$topic $(cat "$work/main")" >>"$work/far.pairs"
        # A topic that starts on a side line has no place on the first-parent line: it is far only.
        fresh=$(grep -A3 "^$parent" "$work/line" | sed -n 4p)
        if [ -n "$fresh" ]; then
            echo "$parent -- $fresh $topic" >>"$work/fresh"
            echo "$topic $fresh" >>"$work/fresh.pairs"
        fi
    done <"$work/topics"
    commits=$(git -C "$repo" rev-list --count "$main")
    for kind in fresh far; do
        [ -s "$work/$kind" ] || continue
        gitTook=$(medianFrom "$work/$kind" git -C "$repo" merge-tree --write-tree --stdin --no-messages)
        row "$name, $commits commits: $(wc -l <"$work/$kind") merges, $kind" "$gitTook" \
            "$(medianFrom "$work/$kind" "$build/tests/bench/bench_merge" "$repo")"
        row "the same as a batch of dry runs, nothing kept" "$gitTook" \
            "$(medianFrom "$work/$kind.pairs" sh -c 'rm -rf "$1/espalier"; exec "$0" dry-run "$1" --batch' "$build/app/espalier" "$repo")"
        row "the same again" "$gitTook" "$(medianFrom "$work/$kind.pairs" "$build/app/espalier" dry-run "$repo" --batch)"
        { printf '%s, %s: ' "$name" "$kind"
          mostMemory "$build/app/espalier" dry-run "$repo" --batch <"$work/$kind.pairs"; } >>"$work/report"
    done
    local start
    start=$(date +%s.%N)
    git -C "$repo" for-each-ref --format="%(ahead-behind:$main)" >"$work/out"
    gitTook=$(echo "$(date +%s.%N) - $start" | bc -l)
    row "$name: drift of $(wc -l <"$work/out") refs" "$gitTook" \
        "$(ESPALIER_BENCH_REPOSITORY=$repo "$build/tests/bench/bench_history" --benchmark_filter='^driftOfEveryRef/' \
            --benchmark_format=json --benchmark_min_time=0.01s 2>"$work/err" |
            python3 -c 'import json, sys; print(json.load(sys.stdin)["benchmarks"][0]["real_time"] / 1000)')"
    for kind in first second; do
        printf '%s, forecast of its branches, %s run: ' "$name" "$kind"
        "$build/tests/bench/forecast_times" "$repo" kept
    done >>"$work/report" 2>&1
    rm -rf "$repo/espalier"
}
while read -r repo main pattern; do
    [ -n "$repo" ] && real "$repo" "$main" "$pattern"
done <<<"${ESPALIER_BENCH_REAL:-}"
