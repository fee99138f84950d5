//! Job text -> checked [`Job`], or every fault in it.
//!
//! *Input -> output*: TOML text and the name to show in messages -> [`ReadJob`] or [`Findings`].
//! *Units*: quoted quantities in any usual unit, SI inside. *Limits*: unknown keys are faults;
//! keys with a sensible default may be left out, those that matter with a warning that names the
//! value assumed. *Errors*: all at once, in file order; reading never panics.

mod equipment;
mod services;

use crate::job::check;
use crate::job::depth;
use crate::job::findings::{Finding, Findings};
use crate::job::load;
use crate::job::quantity::Dimension as D;
use crate::job::report::Report;
use crate::job::section::Section;
use crate::job::{Display, Job, JobInfo, SurveyStation};
use crate::units::{Metres, Radians};
use toml::de::DeTable;

/// A job that can be used, with what is worth a look.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadJob {
    /// The job.
    pub job: Job,
    /// Assumed values and doubtful ones, in file order.
    pub warnings: Vec<Finding>,
}

/// Reads a job file. `file_name` is only used in messages.
///
/// # Errors
/// All faults found, never an empty list.
pub fn read_job(text: &str, file_name: &str) -> Result<ReadJob, Findings> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let report = Report::new(file_name, text);
    let (document, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        for error in errors {
            let at = error.span().map_or(0, |span| span.start);
            let what = error.message().trim();
            let (found, remedy) = if what == "duplicate key" {
                let name = error.span().and_then(|span| text.get(span));
                let name = name.unwrap_or_default().trim();
                (
                    format!("`{name}` for the second time"),
                    "each key and each section once; all keys of a section together below its name",
                )
            } else {
                (
                    format!("text that is not TOML ({what})"),
                    "key = \"value\" under a [section]; quote every quantity",
                )
            };
            report.fault_at(at, "", "", found, remedy, None);
        }
        return Err(report.finish().0);
    }
    let job = read_document(document.get_ref(), &report);
    check::check(&job, &report);
    let bad = report.has_faults();
    let (findings, warnings) = report.finish();
    if bad {
        Err(findings)
    } else {
        Ok(ReadJob { job, warnings })
    }
}

fn read_document<'a>(document: &'a DeTable<'a>, report: &'a Report<'a>) -> Job {
    let root = Section::new("", Some(document), report);
    let top = |name: &'static str| {
        let table = root.raw(name).and_then(|value| {
            report.place(name, "", value.span());
            let table = value.get_ref().as_table();
            if table.is_none() {
                let found = crate::job::section::shown(value.get_ref());
                report.fault("", name, found, format!("a section [{name}]"));
            }
            table
        });
        Section::new(name, table, report)
    };

    let info = read_info(&top("job"));
    let survey = read_survey(&root, report);
    let fluid = equipment::read_fluid(&top("fluid"));
    let line = equipment::read_line(&top("line"));
    let tool = equipment::read_tool(&top("tool"));
    let cutter = equipment::read_cutter(&top("cutter"));
    let tubular = equipment::read_tubular(&root, report);
    let couplings = equipment::read_couplings(&root);

    let section = top("load");
    let load = load::load(&section, line.breaking_load.si());
    section.finish();
    let section = top("depth");
    let (depth, counts) = depth::depth(&section, load.as_ref());
    section.finish();

    let alarm = services::read_alarm(&top("alarm"));
    let record = services::read_record(&top("record"));
    let forward = services::read_forward(&top("forward"));
    let page = services::read_page(&top("page"));
    root.finish();
    Job {
        info,
        survey,
        fluid,
        line,
        tool,
        cutter,
        tubular,
        couplings,
        load,
        depth,
        counts,
        alarm,
        record,
        forward,
        page,
    }
}

fn read_info(section: &Section<'_>) -> JobInfo {
    let named = |key: &'static str| {
        section.text(key).unwrap_or_else(|| {
            section.warn(
                key,
                "nothing",
                format!("the name for the report: {key} = \"...\""),
            );
            "unnamed".to_owned()
        })
    };
    let info = JobInfo {
        name: named("name"),
        well: named("well"),
        interval_top: Metres(section.required("interval_top", D::Length)),
        interval_bottom: Metres(section.required("interval_bottom", D::Length)),
        display: section
            .choice(
                "display",
                &[("metric", Display::Metric), ("field", Display::Field)],
            )
            .unwrap_or(Display::Metric),
        bin: Metres(section.quantity("bin", D::Length).unwrap_or(0.1)),
    };
    section.finish();
    info
}

fn read_survey(root: &Section<'_>, report: &Report<'_>) -> Vec<SurveyStation> {
    let mut survey: Vec<SurveyStation> = root
        .list("survey")
        .iter()
        .map(|section| {
            let station = SurveyStation {
                md: Metres(section.required("md", D::Length)),
                inc: Radians(section.quantity("inc", D::Angle).unwrap_or(0.0)),
                azi: Radians(section.quantity("azi", D::Angle).unwrap_or(0.0)),
            };
            check::survey_station(&section.name, &station, report);
            section.finish();
            station
        })
        .collect();
    if root.raw("survey").is_none() {
        root.warn(
            "survey",
            "no [[survey]], so the well is taken to be vertical",
            "one [[survey]] for each station: md, inc, azi",
        );
    }
    check::survey_order(&survey, report);
    // The well starts at the wellhead; a survey that begins deeper is taken to be vertical above.
    if survey.first().is_none_or(|first| first.md.si() > 0.0) {
        let surface = SurveyStation {
            md: Metres(0.0),
            inc: Radians(0.0),
            azi: survey.first().map_or(Radians(0.0), |first| first.azi),
        };
        survey.insert(0, surface);
    }
    survey
}
