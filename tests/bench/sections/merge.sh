# SPDX-License-Identifier: MIT
# A merge of trees a commit, as a dry run needs it: every topic's commits onto main's tip ("far behind") and onto a commit
# shortly after the topic's start ("fresh"), against `git merge-tree --write-tree --stdin`. First the merges alone
# (bench_merge), then the whole command, `dry-run --batch`, start and landed detection included: of all topics, and of a few,
# where the start weighs most. The last repository is one whose topics are up to ten thousand commits behind.
for shape in ${ESPALIER_BENCH_SHAPES:-1000:3000:100:15 10000:3000:100:15 100000:3000:100:15 4500:20000:400:4}; do
    IFS=: read -r files commits topics each <<<"$shape"
    repo=$work/merge-$files.git
    git init -q --bare "$repo"
    "$here/make-content" --files "$files" --commits "$commits" --topics "$topics" --topic-commits "$each" |
        git -C "$repo" fast-import --quiet
    git -C "$repo" repack -qadf
    for topic in $(git -C "$repo" for-each-ref --format='%(refname)' refs/heads/topic); do
        start=$(git -C "$repo" merge-base main "$topic")
        fresh=$(git -C "$repo" rev-list --ancestry-path --reverse "$start..main" | sed -n 3p)
        git -C "$repo" rev-list --parents "$start..$topic" | while read -r commit parent; do
            echo "$parent -- $(git -C "$repo" rev-parse main) $commit" >>"$work/far"
            echo "$parent -- ${fresh:-$start} $commit" >>"$work/fresh"
        done
        echo "$topic main" >>"$work/far.pairs"
        echo "$topic ${fresh:-$start}" >>"$work/fresh.pairs"
    done
    for kind in fresh far; do
        gitTook=$(medianFrom "$work/$kind" git -C "$repo" merge-tree --write-tree --stdin --no-messages)
        row "$(wc -l <"$work/$kind") merges, $files files, $commits commits, $kind" "$gitTook" \
            "$(medianFrom "$work/$kind" "$build/tests/bench/bench_merge" "$repo")"
        row "the same as a batch of dry runs" "$gitTook" \
            "$(medianFrom "$work/$kind.pairs" "$build/app/espalier" dry-run "$repo" --batch)"
        head -n $((20 * each)) "$work/$kind" >"$work/few"
        head -n 20 "$work/$kind.pairs" >"$work/few.pairs"
        row "a batch of 20 dry runs, $files files, $kind" \
            "$(medianFrom "$work/few" git -C "$repo" merge-tree --write-tree --stdin --no-messages)" \
            "$(medianFrom "$work/few.pairs" "$build/app/espalier" dry-run "$repo" --batch)"
    done
    rm -rf "$repo" "$work/far" "$work/fresh" "$work"/*.pairs
done
