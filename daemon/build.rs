//! Lists every file under `assets/` so that the page is embedded in the binary: it must work on a
//! site without internet and without a folder beside the executable.
//!
//! Writes the manual pages and shell completions too, from the definition of the command line
//! itself: `share/man/man1` and `share/completions` beside the program in the build folder.

#[path = "src/cli.rs"]
#[allow(dead_code, unreachable_pub)]
mod cli;

use clap::{CommandFactory, ValueEnum};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn main() {
    embed_page();
    println!("cargo::rerun-if-changed=src/cli.rs");
    let out = PathBuf::from(std::env::var("OUT_DIR").expect("set by cargo"));
    // OUT_DIR is PROFILE/build/PACKAGE-HASH/out.
    let profile = out.ancestors().nth(3).unwrap_or(&out);
    write_manual(&profile.join("share"))
        .expect("manual pages and completions can be written to the build folder");
}

fn write_manual(share: &Path) -> std::io::Result<()> {
    let (pages, scripts) = (share.join("man/man1"), share.join("completions"));
    std::fs::create_dir_all(&pages)?;
    std::fs::create_dir_all(&scripts)?;
    clap_mangen::generate_to(cli::Cli::command(), &pages)?;
    for shell in clap_complete::Shell::value_variants() {
        let mut command = cli::Cli::command();
        clap_complete::generate_to(*shell, &mut command, "kerfwatchd", &scripts)?;
    }
    Ok(())
}

fn embed_page() {
    let root =
        PathBuf::from(std::env::var("CARGO_MANIFEST_DIR").expect("set by cargo")).join("assets");
    println!("cargo::rerun-if-changed={}", root.display());
    let mut files = Vec::new();
    collect(&root, &mut files);
    files.sort();
    let mut table = String::from("pub(crate) static FILES: &[(&str, &[u8])] = &[\n");
    for file in &files {
        println!("cargo::rerun-if-changed={}", file.display());
        let name = file
            .strip_prefix(&root)
            .expect("collected below it")
            .to_string_lossy();
        writeln!(
            table,
            "    ({:?}, include_bytes!({:?})),",
            format!("/{name}"),
            file.display()
        )
        .expect("writing to a string");
    }
    table.push_str("];\n");
    let out = PathBuf::from(std::env::var("OUT_DIR").expect("set by cargo")).join("assets.rs");
    std::fs::write(out, table).expect("the build folder is writable");
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    println!("cargo::rerun-if-changed={}", folder.display());
    for entry in std::fs::read_dir(folder)
        .expect("assets can be read")
        .flatten()
    {
        let path = entry.path();
        if path.is_dir() {
            collect(&path, files);
        } else {
            files.push(path);
        }
    }
}
