# SPDX-License-Identifier: MIT
# The program's window against an empty Qt window, from the start of the program until it is painted: on Xvfb where there is
# one, else offscreen. Runs take turns, so that what else the machine does meets both.
"$build/app/espalier" sample same-lines "$work/sample" >"$work/out"
cat >"$work/windows" <<'S'
for i in $(seq 15); do
    echo "empty $("$1/tests/bench/empty_window" "$(date +%s%N)")"
    echo "bare $("$1/tests/bench/shown_window" "$(date +%s%N)")"
    echo "history $("$1/tests/bench/shown_window" "$(date +%s%N)" "$2")"
done
S
if command -v xvfb-run >/dev/null; then
    xvfb-run -a -s "-screen 0 1920x1200x24" bash "$work/windows" "$build" "$work/sample/clone" >"$work/times" 2>"$work/err"
else
    QT_QPA_PLATFORM=offscreen bash "$work/windows" "$build" "$work/sample/clone" >"$work/times" 2>"$work/err"
fi
middle() { sed -n "s/^$1 //p" "$work/times" | sort -n | sed -n 8p; }
row "window painted, no repository; an empty Qt window" "$(middle empty)" "$(middle bare)"
row "history painted, small repository; an empty Qt window" "$(middle empty)" "$(middle history)"
