# SPDX-License-Identifier: MIT
# A merge of trees a commit, as a dry run needs it: every topic's commits onto main's tip ("far behind") and onto a commit
# shortly after the topic's start ("fresh"), against `git merge-tree --write-tree --stdin`.
for files in ${ESPALIER_BENCH_FILES:-1000 10000 100000}; do
    repo=$work/merge-$files.git
    git init -q --bare "$repo"
    "$here/make-content" --files "$files" --commits 3000 --topics 100 --topic-commits 15 |
        git -C "$repo" fast-import --quiet
    git -C "$repo" repack -qadf
    for topic in $(git -C "$repo" for-each-ref --format='%(refname)' refs/heads/topic); do
        start=$(git -C "$repo" merge-base main "$topic")
        fresh=$(git -C "$repo" rev-list --ancestry-path --reverse "$start..main" | sed -n 3p)
        git -C "$repo" rev-list --parents "$start..$topic" | while read -r commit parent; do
            echo "$parent -- $(git -C "$repo" rev-parse main) $commit" >>"$work/far"
            echo "$parent -- ${fresh:-$start} $commit" >>"$work/fresh"
        done
    done
    for kind in fresh far; do
        gitTook=$(for i in 1 2 3 4 5; do
            s=$(date +%s.%N)
            git -C "$repo" merge-tree --write-tree --stdin --no-messages <"$work/$kind" >/dev/null
            echo "$(date +%s.%N) - $s" | bc -l
        done | sort -n | sed -n 3p)
        here_=$(for i in 1 2 3 4 5; do
            s=$(date +%s.%N)
            "$build/tests/bench/bench_merge" "$repo" <"$work/$kind" >/dev/null
            echo "$(date +%s.%N) - $s" | bc -l
        done | sort -n | sed -n 3p)
        row "$(wc -l <"$work/$kind") merges, $files files, $kind" "$gitTook" "$here_"
    done
    rm -rf "$repo" "$work/far" "$work/fresh"
done
