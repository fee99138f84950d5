use super::*;
use kerfwatch::job::read_job;
use kerfwatch::model::bending::BendCounter;
use kerfwatch::units::{Metres, Pascals};

fn job() -> Job {
    read_job(kerfwatch::job::print_default_job(), "default")
        .unwrap()
        .job
}

const SLACK: Tension = Tension {
    up_n: 0.0,
    down_n: 0.0,
};

#[test]
fn joints_are_the_parts_between_couplings() {
    let mut job = job();
    job.info.interval_top = Metres(1000.0);
    job.info.interval_bottom = Metres(1020.0);
    job.tubular.coupling_length = Metres(0.2);
    job.couplings = [995.0, 1004.0, 1013.0, 1030.0].map(Metres).to_vec();
    let want = [(1000.0, 1003.9), (1004.1, 1012.9), (1013.1, 1020.0)];
    for (found, want) in joints(&job).iter().zip(want) {
        assert!((found.0 - want.0).abs() < 1e-9 && (found.1 - want.1).abs() < 1e-9);
    }
    assert_eq!(joints(&job).len(), 3);
}

#[test]
fn bends_are_counted_where_sheave_spans_overlap() {
    let mut job = job();
    job.tool.cutter_offset = Metres(0.0);
    let sheave = |name: &str, path| kerfwatch::job::Sheave {
        name: name.into(),
        diameter: Metres(0.4),
        path: Metres(path),
        wrap: kerfwatch::units::Radians(std::f64::consts::PI),
    };
    job.line.sheaves = vec![
        sheave("top", 0.5),
        sheave("hay pulley", 5.5),
        sheave("drum", 30.5),
    ];
    job.line.bending_life = None;
    let found = bends::sections(&job, (1000.0, 1010.0), &|_| SLACK);
    let spans: Vec<(f64, f64, u32)> = found
        .iter()
        .map(|s| (s.from_m, s.to_m, s.bends_per_stroke))
        .collect();
    assert_eq!(
        spans,
        [
            (1000.5, 1005.5, 1),
            (1005.5, 1010.5, 2),
            (1010.5, 1015.5, 1),
            (1030.5, 1040.5, 1)
        ]
    );
}

/// The same strokes at the same tensions, foreseen and counted.
#[test]
fn bending_life_foreseen_is_that_counted_in_a_run() {
    let mut job = job();
    job.tool.cutter_offset = Metres(0.0);
    job.line.bending_life = Some(kerfwatch::job::BendingLife {
        stress: Pascals(1.5e9),
        cycles: 5000.0,
        exponent: 5.0,
    });
    // Tension grows with depth, as the line hangs: a section counts where it lies on the sheave.
    let tension = |depth_m: f64| Tension {
        up_n: 2.0 * depth_m,
        down_n: 1.2 * depth_m,
    };
    let foreseen = bends::sections(&job, (1000.0, 1010.0), &tension);
    let worst = bends::worst(&foreseen).unwrap();

    let mut counter = BendCounter::new(&job.line, 1.0);
    let pairs = 20;
    for _ in 0..pairs {
        for step in 0..=100 {
            let line_m = 1010.0 - 0.1 * f64::from(step);
            counter.push(line_m, tension(line_m).up_n);
        }
        for step in 0..=100 {
            let line_m = 1000.0 + 0.1 * f64::from(step);
            counter.push(line_m, tension(line_m).down_n);
        }
    }
    let counted = counter.life_used_max().unwrap() / f64::from(2 * pairs);
    let foreseen = worst.life_per_stroke.unwrap();
    assert!(
        (foreseen / counted - 1.0).abs() < 0.05,
        "{foreseen} foreseen, {counted} counted"
    );
}

#[test]
fn bending_stress_equals_the_reference_at_ratio_120() {
    // "D/d 120: 1652.9 MPa"
    let mut job = job();
    job.line.modulus = Pascals(200e9);
    job.line.sheaves.truncate(1);
    job.line.sheaves[0].diameter = Metres(120.0 * 0.0025);
    job.line.diameter = Metres(0.0025);
    let stress = bends::sheaves(&job, SLACK)[0].stress_pa;
    assert!((stress * 1e-6 - 1652.9).abs() < 0.05, "{stress}");
}

#[test]
fn forecast_of_the_default_job_is_complete_and_repeatable() {
    let first = forecast(&job(), 0.3, 10.0, 1).unwrap();
    let again = forecast(&job(), 0.3, 10.0, 1).unwrap();
    assert_eq!(first, again);
    assert!(first.strokes.p50.is_some());
    assert!(first.sweep.iter().filter(|c| c.of_the_job).count() == 1);
    // The row of this job says what the headline says.
    let own = first.sweep.iter().find(|c| c.of_the_job).unwrap();
    assert_eq!((own.strokes, own.hours), (first.strokes, first.hours));
    let json = serde_json::to_string(&first).unwrap();
    assert!(!json.contains("NaN"));
    assert!(
        first
            .weights
            .windows(2)
            .all(|w| w[0].depth_m < w[1].depth_m)
    );
}

#[test]
fn a_danger_that_is_named_is_not_denied_in_the_same_breath() {
    let mut found = forecast(&job(), 0.3, 10.0, 1).unwrap();
    (found.limit, found.limits) = (Limit::None, Vec::new());
    found.first.over_limit_probability = 0.0;
    found.first.too_light_probability = 0.0;
    let units = crate::units_shown::Units::Metric;
    assert!(limit_sentence(&found, units).starts_with("Nothing limits"));
    found.first.too_light_probability = 0.17;
    let text = limit_sentence(&found, units);
    assert!(text.starts_with("Most likely nothing limits"), "{text}");
    assert!(text.ends_with(
        "But with 17 % probability the tool is too light to go down after the first stroke up."
    ));
}

#[test]
fn every_limit_is_named_with_its_own_cure() {
    let heavy = "cutter.radial_force=12 kN";
    let text = kerfwatch::job::apply_set(kerfwatch::job::print_default_job(), heavy).unwrap();
    let job = read_job(&text, "job.toml").unwrap().job;
    let found = forecast(&job, 0.3, 10.0, 1).unwrap();
    assert_eq!(found.limits, [Limit::WeakPoint, Limit::GoingDown]);
    assert_eq!(found.limit, Limit::WeakPoint);
    let text = limit_sentence(&found, crate::units_shown::Units::Metric);
    assert!(
        text.starts_with("The weak point limits: the first stroke up would pull "),
        "{text}"
    );
    assert!(
        text.contains("Tool weight limits too: after the first stroke up the tool lacks "),
        "{text}"
    );
    assert!(
        text.contains("which a stronger weak point does not cure"),
        "{text}"
    );
    let own = found.sweep.iter().find(|c| c.of_the_job).unwrap();
    assert_eq!(sweep::words(&own.limits), "weak point, going down");
}

#[test]
fn to_be_rid_of_bent_line_all_of_it_comes_off() {
    let found = forecast(&job(), 0.3, 10.0, 1).unwrap().line;
    let last = found.sections.last().map(|s| s.to_m);
    assert!(last.is_some());
    assert_eq!(found.take_off_m, last);
}
