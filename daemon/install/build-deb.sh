#!/bin/bash
# Builds the Debian package: target/debian/kerfwatch_*.deb. Needs `cargo install cargo-deb`.
# What goes into it: [package.metadata.deb] in daemon/Cargo.toml.
set -euo pipefail
cd "$(dirname "$0")/../.."

target="${CARGO_TARGET_DIR:-target}"
share="$target/release/share"

cargo build --release --locked -p kerfwatchd -p kerfwatch-replay
# The build has written manual pages and completions too; the sample job file is written by the program itself.
gzip -9nkf "$share/man/man1/"*.1
"$target/release/kerfwatchd" config >"$share/job.toml"
cargo deb --locked --no-build --strip -p kerfwatchd "$@"
