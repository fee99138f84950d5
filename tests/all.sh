#!/bin/bash
# Everything that must hold before a change lands: format, lints, tests, documents, comparisons
# with programs that others wrote. Ends with a table of what each step took; stops at the first
# failure. `.ci/run` installs what this needs on a bare Debian machine and then calls it.
#
#   tests/all.sh            everything
#   tests/all.sh lint test  only these steps, in the order given
set -euo pipefail
cd "$(dirname "$0")/.."

target="${CARGO_TARGET_DIR:-target}"
python="$target/peers-venv/bin/python"

peers() { # programs that others wrote, which the tests talk to; quick when they are there
    if ! cmp -s tests/peers/requirements.txt "$target/peers-venv/installed"; then
        tests/peers/setup.sh
        cp tests/peers/requirements.txt "$target/peers-venv/installed"
    fi
    tests/browser/setup.sh
}

format() { cargo fmt --all -- --check; }

lint() { cargo clippy --locked --workspace --all-targets -- -D warnings; }

test_() {
    # Tests of the programs as processes run what stands in the target folder.
    cargo build --locked -p kerfwatchd -p kerfwatch-replay
    if cargo nextest --version >/dev/null 2>&1; then
        cargo nextest run --locked --workspace --no-tests=fail
    else
        # One test at a time: `.config/nextest.toml` says which tests cannot share the machine, and
        # plain cargo cannot read it.
        cargo test --locked --workspace --lib --bins --tests -- --test-threads=1
    fi
}

doctest() { cargo test --locked --workspace --doc; }

doc() { RUSTDOCFLAGS="-D warnings" cargo doc --locked --workspace --no-deps; }

models() { # our models against packages that others wrote
    cargo run --locked -q -p kerfwatch --example model_values >"$target/model_values.json"
    "$python" tests/peers/check_models.py "$target/model_values.json"
}

supply() { # licences, bans, duplicates, sources: also held by tests/tests/dependencies.rs
    if cargo deny --version >/dev/null 2>&1; then
        cargo deny --config .ci/deny.toml check licenses bans sources
        cargo deny --config .ci/deny.toml check advisories ||
            echo "advisories were not checked, or some stand: see above"
    else
        echo "cargo-deny is not installed: its advisories are not checked"
    fi
}

cpu() { awk '{ print int(($16 + $17) / 100) }' "/proc/$$/stat"; } # s, of all that has ended

steps=("$@")
[ $# -gt 0 ] || steps=(format supply peers lint test doctest doc models)
took=()
for step in "${steps[@]}"; do
    command="$step"
    [ "$step" = test ] && command=test_
    declare -F "$command" >/dev/null || { echo "no step '$step'" >&2; exit 2; }
    echo "== $step"
    start=$SECONDS
    spent=$(cpu)
    if ! "$command"; then
        echo "== $step FAILED after $((SECONDS - start)) s" >&2
        exit 1
    fi
    took+=("$(printf '%-8s %5d s %5d s' "$step" $((SECONDS - start)) $(($(cpu) - spent)))")
done
printf '%s\n' "" "step      time    processor" "${took[@]}" "$(printf '%-8s %5d s %5d s' all $SECONDS "$(cpu)")"
