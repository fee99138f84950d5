//! The reduced scoreboard against its stored figures.

use kerfwatch_tests::score::snapshot;

#[test]
fn no_column_of_the_reduced_scoreboard_is_worse_than_stored() {
    let tally = snapshot::reduced_set(&snapshot::cache_folder()).unwrap();
    let stored = std::fs::read_to_string(snapshot::snapshot_file()).unwrap();
    let worse = snapshot::worse(&tally, &stored).unwrap();
    assert!(
        worse.is_empty(),
        "worse than fixtures/scoreboard.json:\n{}\nIf this is meant, say why and store new figures: {}",
        worse.join("\n"),
        "cargo run --release -p kerfwatch-tests --no-default-features --bin scoreboard -- \
         --write-baseline",
    );
}
