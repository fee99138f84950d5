#!/bin/bash
# Builds the Debian package: target/debian/kerfwatch_*.deb. Needs `cargo install cargo-deb`.
# What goes into it: [package.metadata.deb] in daemon/Cargo.toml.
set -euo pipefail
cd "$(dirname "$0")/../.."

target="${CARGO_TARGET_DIR:-target}"
share="$target/release/share"

cargo build --release --locked -p kerfwatchd -p kerfwatch-replay
# Manual pages and completions are written by the build; the sample job file by the program itself.
"$target/release/kerfwatchd" config >"$share/job.toml"
cargo deb --locked --no-build -p kerfwatchd "$@"
