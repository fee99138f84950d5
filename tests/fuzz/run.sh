#!/bin/bash
# Fuzzes each target for so many seconds, one after the other; stops at the first input that panics, hangs
# (10 s) or takes more than 2 GiB, and says where it lies.
#
#   tests/fuzz/run.sh              600 s each
#   tests/fuzz/run.sh 60 packet    only these targets
#
# Needs `cargo install cargo-fuzz` and a C++ compiler, no nightly compiler: the code is free of `unsafe`,
# so it is run without a sanitizer. What is found grows below the target folder; the small corpora
# here are the seeds, and `cargo test -p kerfwatch-tests --test fuzz_corpus` runs them in every build.
set -euo pipefail
cd "$(dirname "$0")/../.."

seconds="${1:-600}"
shift || true
targets=("$@")
if [ ${#targets[@]} -eq 0 ]; then
    targets=(pattern packet modbus_rtu learn recording job_file csv_import page_api)
fi
found="${CARGO_TARGET_DIR:-tests/fuzz/target}/found"

for target in "${targets[@]}"; do
    mkdir -p "$found/$target" "$found/artefacts/$target"
    log="$found/$target.log"
    if ! cargo fuzz run --fuzz-dir tests/fuzz --sanitizer none "$target" \
        "$found/$target" "tests/fuzz/corpus/$target" -- \
        -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 -max_len=8192 \
        -artifact_prefix="$found/artefacts/$target/" -print_final_stats=1 >"$log" 2>&1; then
        tail -n 30 "$log"
        echo "$target: FOUND SOMETHING, see $log"
        exit 1
    fi
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    speed=$(sed -n 's/^stat::average_exec_per_sec: *//p' "$log")
    cover=$(grep -o 'cov: [0-9]*' "$log" | tail -n 1)
    echo "$target: $seconds s, $runs runs, $speed/s, $cover, nothing found"
done
