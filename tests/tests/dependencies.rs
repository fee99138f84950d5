//! What is built in keeps to `.ci/deny.toml`: licences, banned packages, packages in two versions, sources.
//! The same file is read by cargo-deny (`tests/all.sh peers supply`), which knows more; this needs nothing
//! but cargo.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

const PLATFORM: &str = "x86_64-unknown-linux-gnu";
const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

struct Package {
    name: String,
    version: String,
    license: Option<String>,
    source: Option<String>,
}

/// Every package that is built on this platform, ours left out.
fn packages() -> Vec<Package> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .args(["--filter-platform", PLATFORM])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let list = |value: &Value| value.as_array().unwrap().clone();
    let ids = |value: &Value| -> BTreeSet<String> {
        let ids = list(value).into_iter();
        ids.map(|id| id.as_str().unwrap().to_owned()).collect()
    };
    let ours = ids(&metadata["workspace_members"]);
    let nodes = list(&metadata["resolve"]["nodes"]);
    let built: BTreeSet<&str> = nodes.iter().filter_map(|n| n["id"].as_str()).collect();
    let text = |value: &Value| value.as_str().map(str::to_owned);
    list(&metadata["packages"])
        .iter()
        .filter(|package| {
            let id = package["id"].as_str().unwrap();
            built.contains(id) && !ours.contains(id)
        })
        .map(|package| Package {
            name: text(&package["name"]).unwrap(),
            version: text(&package["version"]).unwrap(),
            license: text(&package["license"]),
            source: text(&package["source"]),
        })
        .collect()
}

struct Rules {
    allow: Vec<String>,
    exceptions: BTreeMap<String, Vec<String>>,
    deny: Vec<String>,
    skip: Vec<String>,
}

fn rules() -> Rules {
    let text = std::fs::read_to_string(root().join(".ci/deny.toml")).unwrap();
    let table: toml::Table = text.parse().unwrap();
    let words = |value: &toml::Value| -> Vec<String> {
        let words = value.as_array().unwrap().iter();
        words.map(|w| w.as_str().unwrap().to_owned()).collect()
    };
    let (licenses, bans) = (&table["licenses"], &table["bans"]);
    Rules {
        allow: words(&licenses["allow"]),
        exceptions: licenses["exceptions"]
            .as_array()
            .unwrap()
            .iter()
            .map(|e| (e["crate"].as_str().unwrap().to_owned(), words(&e["allow"])))
            .collect(),
        deny: words(&bans["deny"]),
        skip: words(&bans["skip"]),
    }
}

/// Whether a licence expression can be met: `MIT OR (Apache-2.0 AND ISC)`; `/` is an old `OR`.
fn is_met(expression: &str, is_allowed: &dyn Fn(&str) -> bool) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut rest = words.as_slice();
    let met = any_of(&mut rest, is_allowed);
    assert!(rest.is_empty(), "cannot read the licence `{expression}`");
    met
}

fn any_of(words: &mut &[&str], is_allowed: &dyn Fn(&str) -> bool) -> bool {
    let mut met = all_of(words, is_allowed);
    while words.first() == Some(&"OR") {
        *words = &words[1..];
        met |= all_of(words, is_allowed);
    }
    met
}

fn all_of(words: &mut &[&str], is_allowed: &dyn Fn(&str) -> bool) -> bool {
    let mut met = one(words, is_allowed);
    while words.first() == Some(&"AND") {
        *words = &words[1..];
        met &= one(words, is_allowed);
    }
    met
}

fn one(words: &mut &[&str], is_allowed: &dyn Fn(&str) -> bool) -> bool {
    let Some((&word, rest)) = words.split_first() else {
        panic!("a licence ends in the middle");
    };
    *words = rest;
    if word == "(" {
        let met = any_of(words, is_allowed);
        *words = words.strip_prefix(&[")"]).expect("a closing bracket");
        return met;
    }
    // `Apache-2.0 WITH LLVM-exception` gives more freedom, not less.
    if words.first() == Some(&"WITH") {
        *words = &words[2..];
    }
    is_allowed(word)
}

#[test]
fn every_licence_is_among_those_allowed() {
    let rules = rules();
    let mut wrong = Vec::new();
    for package in packages() {
        let own = rules.exceptions.get(&package.name);
        let is_allowed = |license: &str| {
            rules.allow.iter().any(|allowed| allowed == license)
                || own.is_some_and(|own| own.iter().any(|allowed| allowed == license))
        };
        if !package
            .license
            .as_ref()
            .is_some_and(|license| is_met(license, &is_allowed))
        {
            wrong.push(format!(
                "{} {}: {:?}",
                package.name, package.version, package.license
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_package_is_banned_or_comes_from_elsewhere() {
    let rules = rules();
    for package in packages() {
        assert!(!rules.deny.contains(&package.name), "{}", package.name);
        assert_eq!(
            package.source.as_deref(),
            Some(REGISTRY),
            "{}",
            package.name
        );
    }
}

#[test]
fn packages_in_two_versions_are_those_known() {
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for package in packages() {
        versions
            .entry(package.name)
            .or_default()
            .insert(package.version);
    }
    let doubled: Vec<&String> = versions
        .iter()
        .filter(|(_, versions)| versions.len() > 1)
        .map(|(name, _)| name)
        .collect();
    let known = rules().skip;
    assert_eq!(doubled, known.iter().collect::<Vec<_>>());
}

#[test]
fn licence_expressions_are_read() {
    let only_mit = |license: &str| license == "MIT";
    for (expression, met) in [
        ("MIT", true),
        ("ISC", false),
        ("Unlicense/MIT", true),
        ("MIT AND ISC", false),
        ("(MIT OR Apache-2.0) AND MIT", true),
        ("(MIT OR Apache-2.0) AND ISC", false),
        ("Apache-2.0 WITH LLVM-exception OR MIT", true),
    ] {
        assert_eq!(is_met(expression, &only_mit), met, "{expression}");
    }
}
