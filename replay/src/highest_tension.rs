//! How near a run came to its limit: its highest tension, when, where, and the share of what line and weak point bear.
//!
//! *Share*: of the limit in force at that depth (that of the overpull alarm), and of the weakest link there taken whole:
//! the surface tension at which line or weak point is loaded to its certificate, by statics without friction
//! (`kerfwatch::model::weakest_link`). A jar blow is no static load.

use crate::forecast::weights::Hang;
use crate::units_shown::{Units, clock};
use kerfwatch::job::Job;
use kerfwatch::model::weakest_link::{Link, SurfaceLimit};
use kerfwatch::pipeline::HighestTension;

/// In a sentence; `None` where nothing was measured or the survey makes no path.
pub(crate) fn told(job: &Job, highest: Option<HighestTension>, units: Units) -> Option<String> {
    let highest = highest?;
    let (in_force, whole) = Hang::new(job).ok()?.limits(highest.depth_m);
    Some(sentence(&highest, &in_force, &whole, units))
}

fn sentence(
    highest: &HighestTension,
    in_force: &SurfaceLimit,
    whole: &SurfaceLimit,
    units: Units,
) -> String {
    let force = units.force();
    let share = |limit_n: f64| 100.0 * highest.tension_n / limit_n;
    let weakest = match whole.by {
        Link::WeakPoint => "the weak point",
        Link::Line | Link::Given => "the line",
    };
    format!(
        "{} at {}, wheels at {}: {:.0} % of the limit in force there ({}), {:.0} % of what the weakest link bears, {weakest} \
         ({} at surface)",
        force.show(highest.tension_n),
        clock(highest.at_s),
        units.depth().show(highest.depth_m),
        share(in_force.limit_n),
        force.show(in_force.limit_n),
        share(whole.limit_n),
        force.show(whole.limit_n)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};

    #[test]
    fn it_is_told_with_its_time_depth_and_shares() {
        let limit = |limit_n, by| SurfaceLimit {
            limit_n,
            by,
            line_n: 0.0,
            weak_point_n: 0.0,
        };
        let highest = HighestTension {
            at_s: 2_470.0,
            tension_n: 2_624.0,
            depth_m: 1_502.3,
            line_m: 1_499.9,
        };
        let text = sentence(
            &highest,
            &limit(5_000.0, Link::Given),
            &limit(6_560.0, Link::WeakPoint),
            Units::Metric,
        );
        assert_eq!(
            text,
            "2624 N at 0:41:10, wheels at 1502.3 m: 52 % of the limit in force there (5000 N), 40 % of what the weakest \
             link bears, the weak point (6560 N at surface)"
        );
    }

    #[test]
    fn the_weakest_link_is_taken_whole_whatever_the_job_allows_of_it() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let (in_force, whole) = Hang::new(&job).unwrap().limits(2_010.0);
        // Half of the breaking load of 9380 N, and the weak point with the line that hangs on it.
        assert!(in_force.limit_n <= 0.5 * 9_380.0, "{in_force:?}");
        assert!(whole.limit_n > 1.5 * in_force.limit_n, "{whole:?}");
        assert!(whole.limit_n <= 9_380.0, "{whole:?}");
        assert_eq!(told(&job, None, Units::Metric), None);
    }
}
