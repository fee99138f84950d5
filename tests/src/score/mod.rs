//! Scores the inference against the truth of bench-well records.
//!
//! Reading order: [`record`] (a record with its truth), [`estimate`] (what an estimator said, final
//! and while the job ran), [`ours`] and [`baseline`] (two estimators), [`measure`], `held` and
//! [`forecasts`], [`ten_strokes`] (one run scored), [`total`] (all runs together, the columns), [`equal_alarms`] (delays compared
//! fairly), [`table`] (what is printed), [`snapshot`] (figures kept for CI).

pub mod baseline;
pub mod equal_alarms;
pub mod estimate;
pub mod forecasts;
mod held;
pub mod measure;
pub mod ours;
pub mod record;
pub mod snapshot;
pub mod table;
pub mod ten_strokes;
pub mod total;
pub mod truth;
