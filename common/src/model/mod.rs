//! Physics of the line, the well and the cut, as pure functions and small structs.
//!
//! *Input -> output*: numbers in SI units in, numbers in SI units out; every name that carries a
//! bare number says its unit (`_m`, `_n`, `_pa`, `_rad`, `_n_m`). *Limits*: each file states what
//! its model leaves out. *Errors*: what could be wrong in a job file (survey order, unknown pipe
//! size) is a typed error; kernels take finite numbers. *Sources*: named beside each formula; the
//! table "Models and their checks" in `DEVELOPERS.md` lists what each was compared with.
//!
//! Reading order: [`mod@line`] and [`wellpath`], then [`soft_string`] (needs both) and
//! [`profile_table`] (its fast form); [`wheel_contact`] and [`groove_law`] for the cut;
//! [`weakest_link`], [`bending`], [`fatigue`] and [`rainflow`] for the strength of the line;
//! [`load_path`] and [`tubular_table`] stand alone.

pub mod bending;
pub mod fatigue;
pub mod groove_law;
pub mod line;
pub mod load_path;
pub mod profile_table;
pub mod rainflow;
pub mod soft_string;
pub mod tubular_table;
pub mod weakest_link;
pub mod wellpath;
pub mod wheel_contact;

/// Which way the line moves through the well.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Motion {
    /// Pulling out: friction adds to the tension seen at surface.
    Up,
    /// Running in: friction takes from the tension seen at surface.
    Down,
    /// No friction mobilised. A line that has just stopped keeps part of its friction, so a
    /// measured tension at rest lies anywhere between [`Motion::Down`] and [`Motion::Up`].
    Rest,
}

impl Motion {
    /// +1 pulling out, -1 running in, 0 at rest: the sign friction has in surface tension.
    #[inline]
    pub const fn friction_sign(self) -> f64 {
        match self {
            Self::Up => 1.0,
            Self::Down => -1.0,
            Self::Rest => 0.0,
        }
    }
}

impl From<crate::result::Direction> for Motion {
    fn from(direction: crate::result::Direction) -> Self {
        match direction {
            crate::result::Direction::Up => Self::Up,
            crate::result::Direction::Down => Self::Down,
        }
    }
}
