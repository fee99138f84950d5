#!/bin/bash
# Coverage of the core by its own unit and property tests: lines and regions, by folder, and in all.
# Needs `rustup component add llvm-tools`. Files of tests and fuzz bodies are left out.
#
#   tests/coverage.sh            the table
#   tests/coverage.sh --files    by file
set -euo pipefail
cd "$(dirname "$0")/.."

host=$(rustc -vV | sed -n 's/^host: //p')
tools="$(rustc --print sysroot)/lib/rustlib/$host/bin"
[ -x "$tools/llvm-cov" ] || { echo "rustup component add llvm-tools" >&2; exit 1; }
target="${CARGO_TARGET_DIR:-target}/coverage"
rm -rf "$target/raw"

export RUSTFLAGS="-C instrument-coverage" CARGO_TARGET_DIR="$target"
# Builds write no profiles here; the tests do.
test=$(LLVM_PROFILE_FILE=/dev/null cargo test --locked -p kerfwatch --lib --no-run --message-format=json 2>/dev/null |
    sed -n 's/.*"executable":"\([^"]*\)".*/\1/p' | tail -n 1)
LLVM_PROFILE_FILE="$target/raw/%p-%m.profraw" "$test" --quiet
"$tools/llvm-profdata" merge -sparse "$target"/raw/*.profraw -o "$target/all.profdata"
"$tools/llvm-cov" report "$test" --instr-profile="$target/all.profdata" \
    --ignore-filename-regex='/\.cargo/|/rustc/|tests?\.rs$|/tests/|/fuzz\.rs$' >"$target/report"

# Columns of llvm-cov: file, regions, missed, %, functions, missed, %, lines, missed, %, ...
if [ "${1:-}" = --files ]; then
    awk '$8 ~ /^[0-9]+$/ { printf "%-44s %6d lines %5.1f %%\n", $1, $8, 100 * (1 - $9 / $8) }' "$target/report"
else
    awk '$8 ~ /^[0-9]+$/ {
            n = split($1, path, "/")
            part = $1 == "TOTAL" ? "all" : (n > 1 ? path[1] : "other files")
            lines[part] += $8; missed[part] += $9; regions[part] += $2; unseen[part] += $3
        }
        END {
            for (part in lines)
                printf "%-14s %6d lines, %5.1f %% seen; %5.1f %% of regions\n", part, lines[part],
                    100 * (1 - missed[part] / lines[part]), 100 * (1 - unseen[part] / regions[part])
        }' "$target/report" | sort
fi
