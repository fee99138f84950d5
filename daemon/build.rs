//! Lists every file under `assets/` so that the page is embedded in the binary: it must work on a
//! site without internet and without a folder beside the executable.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn main() {
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
