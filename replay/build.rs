//! Writes the manual pages and shell completions at build, from the definition of the command line
//! itself: `share/man/man1` and `share/completions` beside the program in the build folder.

#[path = "src/args/mod.rs"]
#[allow(dead_code, unreachable_pub)]
mod args;

use clap::{CommandFactory, ValueEnum};
use std::path::{Path, PathBuf};

fn main() {
    println!("cargo::rerun-if-changed=src/args");
    let out = PathBuf::from(std::env::var("OUT_DIR").expect("set by cargo"));
    // OUT_DIR is PROFILE/build/PACKAGE-HASH/out.
    let profile = out.ancestors().nth(3).unwrap_or(&out);
    write(&profile.join("share"))
        .expect("manual pages and completions can be written to the build folder");
}

fn write(share: &Path) -> std::io::Result<()> {
    let (pages, scripts) = (share.join("man/man1"), share.join("completions"));
    std::fs::create_dir_all(&pages)?;
    std::fs::create_dir_all(&scripts)?;
    clap_mangen::generate_to(args::Arguments::command(), &pages)?;
    for shell in clap_complete::Shell::value_variants() {
        let mut command = args::Arguments::command();
        clap_complete::generate_to(*shell, &mut command, "kerfwatch-replay", &scripts)?;
    }
    Ok(())
}
