//! What the service unit gives the daemon, so that benches and soaks run it as it is installed.

/// Variables that the unit sets, but for those that the service manager fills in.
pub fn environment() -> Vec<(String, String)> {
    variables(include_str!("../../daemon/install/kerfwatchd.service"))
}

fn variables(unit: &str) -> Vec<(String, String)> {
    let lines = unit
        .lines()
        .filter_map(|line| line.strip_prefix("Environment="));
    lines
        .flat_map(str::split_whitespace)
        .filter_map(|word| word.split_once('='))
        .filter(|(_, value)| !value.contains('%'))
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn variables_of_a_unit() {
        let unit = "[Service]\nEnvironmentFile=-/etc/x\nEnvironment=A_=1 B=2 BOOT=%b\nUser=x\nEnvironment=C=3\n";
        let all = [("A_", "1"), ("B", "2"), ("C", "3")];
        assert_eq!(
            variables(unit),
            all.map(|(name, value)| (name.to_owned(), value.to_owned()))
        );
        assert!(!environment().is_empty());
    }
}
