//! What a forecast assumes, in sentences. Figures come from where the draws take them, so that the list says what was
//! done.

use super::cut::{CutterPlan, PLACE_M};
use super::unknowns::{
    BITE_DOWN, FORCE_LOST, LAW_SD, LINE_FRICTION_SD, PLACE_HARDNESS_SD, PLACE_YIELDS,
    PRESSURE_GIVEN_SD, ROLLING, TOOL_FRICTION, TOOL_WEIGHT_SD,
};
use super::weights::TO_95;
use kerfwatch::job::Job;
use kerfwatch::units::PASCALS_PER_PSI;

/// "8 %"
fn percent(part: f64) -> String {
    format!("{:.0} %", 100.0 * part)
}

/// "85 to 100 %"
fn percents((low, high): (f64, f64)) -> String {
    format!("{:.0} to {}", 100.0 * low, percent(high))
}

pub(super) fn assumptions(job: &Job, plan: &CutterPlan) -> Vec<String> {
    let in_both = |pa: f64| {
        format!(
            "{:.2} GPa ({:.0} ksi)",
            pa * 1e-9,
            pa * 1e-3 / PASCALS_PER_PSI
        )
    };
    let pressure = match job.cutter.contact_pressure {
        Some(p) => format!(
            "Contact pressure {} as given in the job, known to {}.",
            in_both(p.si()),
            percent(PRESSURE_GIVEN_SD)
        ),
        None => format!(
            "Contact pressure not given: median {} from the yield strength, with 90 % \
             probability within a factor {:.2} either way. A test cut would narrow this most.",
            in_both(plan.wheel.pressure_pa),
            (TO_95 * plan.unknowns.pressure_log_sd).exp()
        ),
    };
    vec![
        pressure,
        format!("Radial force known to {:.1} %.", 100.0 * plan.unknowns.force_sd),
        format!(
            "Going down the wheels bite with {} of the radial force; up to {} of it is lost, or edges blunt as much, by \
             the end of the cut.",
            percents(BITE_DOWN),
            percent(FORCE_LOST.1)
        ),
        format!(
            "Groove depth known to {} for given passes, force and pressure: no groove follows one law.",
            percent(LAW_SD)
        ),
        format!(
            "Wall a quarter of its tolerance ({:.1} %) below nominal, with as much spread from joint to \
             joint. Corroded pipe may be thinner.",
            100.0 * plan.unknowns.wall_tolerance
        ),
        format!(
            "Along a joint hardness differs by {} from place to place ({PLACE_M} m), and the wall gives way when {} of it \
             is cut. Couplings are not cut.",
            percent(PLACE_HARDNESS_SD),
            percents(PLACE_YIELDS)
        ),
        format!(
            "Rolling drag of wheels and rollers is {} of the radial force.",
            percents(ROLLING)
        ),
        format!(
            "Line friction as in the job, known to {}; friction of the tool on the pipe {}, give or take {}; weight of the \
             tool known to {}.",
            percent(LINE_FRICTION_SD),
            TOOL_FRICTION.0,
            TOOL_FRICTION.1,
            percent(TOOL_WEIGHT_SD)
        ),
        "Bending of the line: tension of strokes with half of the wall cut.".into(),
        "Other line sizes in the sweep have the same strength per area and the same friction. A limit that the \
         job gives for its own line is taken for them as the same share of their breaking load."
            .into(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};

    #[test]
    fn the_list_names_the_spreads_that_are_drawn() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let text = assumptions(&job, &CutterPlan::new(&job)).join("\n");
        for part in [
            "hardness differs by 8 % from place to place (0.4 m)",
            "when 85 to 100 % of it",
            "Groove depth known to 12 %",
            "within a factor 1.46 either way",
            "bite with 50 to 100 % of the radial force; up to 15 % of it is lost",
            "is 2 to 10 % of the radial force",
            "known to 18 %; friction of the tool on the pipe 0.15, give or take 0.08; weight of the tool known to 2 %",
        ] {
            assert!(text.contains(part), "`{part}` in\n{text}");
        }
    }
}
