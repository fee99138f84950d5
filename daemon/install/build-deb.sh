#!/bin/bash
# Builds the Debian package: target/debian/kerfwatch_*.deb. Needs `cargo install cargo-deb`.
# What goes into it: [package.metadata.deb] in daemon/Cargo.toml.
set -euo pipefail
cd "$(dirname "$0")/../.."

target="${CARGO_TARGET_DIR:-target}"
share="$target/release/share"

cargo build --release --locked -p kerfwatchd -p kerfwatch-replay
# Manual pages, completions and the sample job file are written by the programs themselves.
mkdir -p "$share/man/man1" "$share/completions"
for program in kerfwatchd kerfwatch-replay; do
    run="$target/release/$program"
    [ -e "$share/man/man1/$program.1" ] || "$run" man >"$share/man/man1/$program.1"
    gzip -9nkf "$share/man/man1/$program"*.1
    "$run" completions bash >"$share/completions/$program.bash"
    "$run" completions zsh >"$share/completions/_$program"
    "$run" completions fish >"$share/completions/$program.fish"
done
"$target/release/kerfwatchd" config >"$share/job.toml"
cargo deb --locked --no-build --strip -p kerfwatchd "$@"
