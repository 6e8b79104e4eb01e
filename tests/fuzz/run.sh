#!/usr/bin/env bash
# Runs fuzz targets one after another: tests/fuzz/run.sh SECONDS [TARGET...], all of them if none is named. Appends to
# tests/fuzz/corpus/log.txt: target, seconds, seconds of work (building included), runs, coverage, findings. Needs nightly Rust and `cargo install cargo-fuzz`.
set -euo pipefail
cd "$(dirname "$0")/../.."
seconds=$1
shift
[ $# -gt 0 ] || set -- $(basename -s .rs tests/fuzz/fuzz_targets/*.rs)
export TMPDIR=${TMPDIR:-/dev/shm}
log=${FUZZ_LOG:-tests/fuzz/corpus/log.txt}
for target in "$@"; do
    case $target in
        quantities) longest=64 ;;
        las | laz | copc | e57 | ply | pcd | pts | ptx | xyz) longest=20000 ;;
        *) longest=4096 ;;
    esac
    output=$(mktemp)
    TIMEFORMAT='%U'
    used=$({ time nice -n 19 cargo +nightly fuzz run --fuzz-dir tests/fuzz "$target" -- -max_total_time="$seconds" -max_len=$longest \
        -rss_limit_mb=2048 -malloc_limit_mb=1024 -timeout=20 -print_final_stats=1 > "$output" 2>&1 || true; } 2>&1)
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$output")
    took=$(sed -n 's/^Done .* in \([0-9]*\) second.*/\1/p' "$output")
    cover=$(grep -ao 'cov: [0-9]*' "$output" | tail -1 || true)
    found=$(grep -a -m1 -E 'panicked|SUMMARY|ERROR' "$output" || true)
    printf '%s\t%s\t%s s\t%s s of work\t%s runs\t%s\t%s\n' "$(date +%FT%T)" "$target" "${took:-stopped}" "$used" "${runs:-?}" "$cover" "$found" >> "$log"
    [ -z "$found" ] || cp "$output" "tests/fuzz/corpus/$target.finding.txt"
    rm -f "$output"
done
