//! The Debian package without building it: every file it takes is there or made by the build, its scripts
//! are shell, its unit and its scripts speak of the same user and folders. When a package has been built
//! (`daemon/install/build-deb.sh`), its contents are held to the same list.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

fn daemon() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon")
}

fn read(file: &str) -> String {
    let path = daemon().join(file);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Source and destination of each file that is packed.
fn assets() -> Vec<(String, String)> {
    let manifest: toml::Table = read("Cargo.toml").parse().unwrap();
    let deb = &manifest["package"]["metadata"]["deb"];
    deb["assets"]
        .as_array()
        .unwrap()
        .iter()
        .map(|asset| {
            let text = |place: usize| asset[place].as_str().unwrap().to_owned();
            (text(0), text(1))
        })
        .collect()
}

#[test]
fn every_file_that_is_packed_is_there_or_made_by_the_build() {
    for (source, _) in assets() {
        assert!(
            source.starts_with("target/release/") || daemon().join(&source).is_file(),
            "{source}"
        );
    }
}

#[test]
fn package_holds_programs_manuals_completions_sample_job_and_rules() {
    let list: Vec<String> = assets()
        .into_iter()
        .map(|(from, to)| from + " " + &to)
        .collect();
    for wanted in [
        "kerfwatchd usr/bin/",
        "kerfwatch-replay usr/bin/",
        "man/man1/*.1.gz usr/share/man/man1/",
        "bash-completion/completions/kerfwatchd",
        "zsh/vendor-completions/",
        "fish/vendor_completions.d/",
        "job.toml usr/share/doc/kerfwatch/examples/",
        "60-kerfwatch.rules usr/share/doc/kerfwatch/examples/",
    ] {
        assert!(list.iter().any(|l| l.contains(wanted)), "{wanted}");
    }
}

#[test]
fn scripts_are_shell_and_agree_with_the_unit() {
    for script in ["postinst", "postrm"] {
        let path = daemon().join("install/debian").join(script);
        let status = Command::new("sh").arg("-n").arg(&path).status().unwrap();
        assert!(status.success(), "{script}");
        assert!(read(&format!("install/debian/{script}")).contains("#DEBHELPER#"));
    }
    let unit = read("install/kerfwatchd.service");
    let postinst = read("install/debian/postinst");
    for (of_unit, of_script) in [
        ("User=kerfwatch\n", "adduser --system --group"),
        ("SupplementaryGroups=dialout\n", "kerfwatch dialout"),
        ("StateDirectory=kerfwatch\n", "/var/lib/kerfwatch"),
        ("/etc/kerfwatch/job.toml", "/etc/kerfwatch"),
        ("WatchdogSec=", ""),
    ] {
        assert!(unit.contains(of_unit), "{of_unit}");
        assert!(postinst.contains(of_script), "{of_script}");
    }
    // Records of jobs are not a package manager's to delete.
    assert!(!read("install/debian/postrm").contains("rm -r"));
}

/// Where the service manager's own checker is installed: every line is understood, and little is left open.
#[test]
fn unit_is_understood_by_the_service_manager() {
    let analyze = |arguments: &[&str], unit: &Path| {
        Command::new("systemd-analyze")
            .args(arguments)
            .arg(unit)
            .output()
            .ok()
    };
    let folder = tempfile::tempdir().unwrap();
    let unit = folder.path().join("kerfwatchd.service");
    // Not installed here: any program stands for it.
    let text = read("install/kerfwatchd.service").replace("/usr/bin/kerfwatchd", "/bin/true");
    std::fs::write(&unit, text).unwrap();
    let Some(verified) = analyze(&["verify", "--man=no"], &unit) else {
        println!("no systemd-analyze: not checked");
        return;
    };
    let said = String::from_utf8_lossy(&verified.stderr).into_owned();
    assert!(verified.status.success() && said.is_empty(), "{said}");
    // Exposure in tenths: 1.2 when this was written, mostly for its sockets and serial ports.
    let secured = analyze(&["security", "--offline=true", "--threshold=15"], &unit).unwrap();
    let told = String::from_utf8_lossy(&secured.stdout).into_owned();
    assert!(secured.status.success(), "{told}");
    // The sample path may put itself first, in the sandbox too.
    assert!(told.contains("setpriority is allowed"), "{told}");
}

#[test]
fn built_package_holds_what_the_list_says() {
    let target = std::env::var("CARGO_TARGET_DIR")
        .map_or_else(|_| daemon().join("../target"), PathBuf::from);
    let Some(package) = std::fs::read_dir(target.join("debian"))
        .ok()
        .and_then(|files| {
            let mut files = files.flatten().map(|entry| entry.path());
            files.find(|path| path.extension().is_some_and(|end| end == "deb"))
        })
    else {
        println!("no package has been built: nothing to look into");
        return;
    };
    let output = Command::new("dpkg-deb")
        .arg("-c")
        .arg(&package)
        .output()
        .unwrap();
    assert!(output.status.success());
    let listed = String::from_utf8_lossy(&output.stdout).into_owned();
    let files: BTreeSet<&str> = listed
        .lines()
        .filter_map(|line| line.split(" ./").nth(1))
        .collect();
    for (source, to) in assets() {
        let end = if to.ends_with('/') {
            source.rsplit('/').next().unwrap().trim_start_matches('*')
        } else {
            ""
        };
        assert!(
            files
                .iter()
                .any(|file| { file.starts_with(&to) && file.ends_with(end) }),
            "{source} as {to}"
        );
    }
    assert!(
        listed.contains("systemd/system/kerfwatchd.service"),
        "{listed}"
    );
}
