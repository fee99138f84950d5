//! The rows of the tubular table. Order: diameter, tubing before casing, weight.
//!
//! The coupling page prints 7.875 in for the coupling of 7 in casing; its own mass for that coupling
//! fits 7.656 in, which is kept, from memory.

use super::{End, Source, TubularRow};

const fn row(
    size: &'static str,
    od_in: f64,
    weight_lb_ft: f64,
    wall_in: f64,
    end: End,
    coupling_od_in: f64,
    coupling_length_in: f64,
    sources: (Source, Source, Source),
) -> TubularRow {
    TubularRow {
        size,
        od_in,
        weight_lb_ft,
        wall_in,
        end,
        coupling_od_in,
        coupling_length_in,
        wall_source: sources.0,
        coupling_od_source: sources.1,
        coupling_length_source: sources.2,
    }
}

use End::{Casing, ExternalUpset, NonUpset};
use Source::{CommonSizesPage, CouplingDrawing, CouplingPage, Memory, TubingSizesPage};

/// All pipes known. Columns: size, outside diameter in, weight lb/ft, wall in, ends, coupling outside
/// diameter in, coupling length in, sources of wall, coupling diameter, coupling length.
#[rustfmt::skip]
pub const ROWS: &[TubularRow] = &[
    row("2-3/8", 2.375, 4.0, 0.167, NonUpset, 2.875, 4.25, (Memory, Memory, Memory)),
    row("2-3/8", 2.375, 4.6, 0.19, NonUpset, 2.875, 4.25, (TubingSizesPage, Memory, Memory)),
    row("2-3/8", 2.375, 4.7, 0.19, ExternalUpset, 3.063, 4.875, (TubingSizesPage, Memory, Memory)),
    row("2-3/8", 2.375, 5.8, 0.254, NonUpset, 2.875, 4.25, (Memory, Memory, Memory)),
    row("2-3/8", 2.375, 5.95, 0.254, ExternalUpset, 3.063, 4.875, (Memory, Memory, Memory)),
    row("2-7/8", 2.875, 6.4, 0.217, NonUpset, 3.5, 5.125, (TubingSizesPage, Memory, Memory)),
    row("2-7/8", 2.875, 6.5, 0.217, ExternalUpset, 3.668, 5.25, (TubingSizesPage, Memory, Memory)),
    row("2-7/8", 2.875, 7.8, 0.276, NonUpset, 3.5, 5.125, (Memory, Memory, Memory)),
    row("2-7/8", 2.875, 7.9, 0.276, ExternalUpset, 3.668, 5.25, (Memory, Memory, Memory)),
    row("2-7/8", 2.875, 8.6, 0.308, NonUpset, 3.5, 5.125, (Memory, Memory, Memory)),
    row("2-7/8", 2.875, 8.7, 0.308, ExternalUpset, 3.668, 5.25, (Memory, Memory, Memory)),
    row("3-1/2", 3.5, 7.7, 0.216, NonUpset, 4.25, 5.625, (Memory, Memory, Memory)),
    row("3-1/2", 3.5, 9.2, 0.254, NonUpset, 4.25, 5.625, (TubingSizesPage, Memory, Memory)),
    row("3-1/2", 3.5, 9.3, 0.254, ExternalUpset, 4.5, 5.75, (TubingSizesPage, Memory, Memory)),
    row("3-1/2", 3.5, 10.2, 0.289, NonUpset, 4.25, 5.625, (Memory, Memory, Memory)),
    row("3-1/2", 3.5, 12.7, 0.375, NonUpset, 4.25, 5.625, (Memory, Memory, Memory)),
    row("3-1/2", 3.5, 12.95, 0.375, ExternalUpset, 4.5, 5.75, (Memory, Memory, Memory)),
    row("4", 4.0, 9.5, 0.226, NonUpset, 4.75, 5.75, (Memory, CouplingDrawing, CouplingDrawing)),
    row("4", 4.0, 11.0, 0.262, ExternalUpset, 5.0, 6.0, (CommonSizesPage, Memory, Memory)),
    row("4-1/2", 4.5, 12.6, 0.271, NonUpset, 5.2, 6.125, (TubingSizesPage, Memory, Memory)),
    row("4-1/2", 4.5, 12.75, 0.271, ExternalUpset, 5.563, 6.25, (TubingSizesPage, Memory, Memory)),
    row("4-1/2", 4.5, 9.5, 0.205, Casing, 5.0, 7.0, (Memory, CouplingPage, CouplingPage)),
    row("4-1/2", 4.5, 10.5, 0.224, Casing, 5.0, 7.0, (Memory, CouplingPage, CouplingPage)),
    row("4-1/2", 4.5, 11.6, 0.25, Casing, 5.0, 7.0, (CommonSizesPage, CouplingPage, CouplingPage)),
    row("4-1/2", 4.5, 13.5, 0.29, Casing, 5.0, 7.0, (Memory, CouplingPage, CouplingPage)),
    row("4-1/2", 4.5, 15.1, 0.337, Casing, 5.0, 7.0, (Memory, CouplingPage, CouplingPage)),
    row("5", 5.0, 11.5, 0.22, Casing, 5.563, 7.75, (Memory, CouplingPage, CouplingPage)),
    row("5", 5.0, 13.0, 0.253, Casing, 5.563, 7.75, (Memory, CouplingPage, CouplingPage)),
    row("5", 5.0, 15.0, 0.296, Casing, 5.563, 7.75, (Memory, CouplingPage, CouplingPage)),
    row("5", 5.0, 18.0, 0.362, Casing, 5.563, 7.75, (Memory, CouplingPage, CouplingPage)),
    row("5", 5.0, 21.4, 0.437, Casing, 5.563, 7.75, (Memory, CouplingPage, CouplingPage)),
    row("5-1/2", 5.5, 14.0, 0.244, Casing, 6.05, 8.0, (Memory, CouplingPage, CouplingPage)),
    row("5-1/2", 5.5, 15.5, 0.275, Casing, 6.05, 8.0, (Memory, CouplingPage, CouplingPage)),
    row("5-1/2", 5.5, 17.0, 0.304, Casing, 6.05, 8.0, (CommonSizesPage, CouplingPage, CouplingPage)),
    row("5-1/2", 5.5, 20.0, 0.361, Casing, 6.05, 8.0, (Memory, CouplingPage, CouplingPage)),
    row("5-1/2", 5.5, 23.0, 0.415, Casing, 6.05, 8.0, (Memory, CouplingPage, CouplingPage)),
    row("6-5/8", 6.625, 20.0, 0.288, Casing, 7.39, 8.75, (Memory, CouplingPage, CouplingPage)),
    row("6-5/8", 6.625, 24.0, 0.352, Casing, 7.39, 8.75, (Memory, CouplingPage, CouplingPage)),
    row("6-5/8", 6.625, 28.0, 0.417, Casing, 7.39, 8.75, (Memory, CouplingPage, CouplingPage)),
    row("6-5/8", 6.625, 32.0, 0.475, Casing, 7.39, 8.75, (Memory, CouplingPage, CouplingPage)),
    row("7", 7.0, 17.0, 0.231, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7", 7.0, 20.0, 0.272, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7", 7.0, 23.0, 0.317, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7", 7.0, 26.0, 0.362, Casing, 7.656, 9.0, (CommonSizesPage, Memory, CouplingPage)),
    row("7", 7.0, 29.0, 0.408, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7", 7.0, 32.0, 0.453, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7", 7.0, 35.0, 0.498, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7", 7.0, 38.0, 0.54, Casing, 7.656, 9.0, (Memory, Memory, CouplingPage)),
    row("7-5/8", 7.625, 24.0, 0.3, Casing, 8.5, 9.25, (Memory, CouplingPage, CouplingPage)),
    row("7-5/8", 7.625, 26.4, 0.328, Casing, 8.5, 9.25, (Memory, CouplingPage, CouplingPage)),
    row("7-5/8", 7.625, 29.7, 0.375, Casing, 8.5, 9.25, (Memory, CouplingPage, CouplingPage)),
    row("7-5/8", 7.625, 33.7, 0.43, Casing, 8.5, 9.25, (Memory, CouplingPage, CouplingPage)),
    row("7-5/8", 7.625, 39.0, 0.5, Casing, 8.5, 9.25, (Memory, CouplingPage, CouplingPage)),
    row("9-5/8", 9.625, 32.3, 0.312, Casing, 10.625, 10.5, (Memory, CouplingPage, CouplingPage)),
    row("9-5/8", 9.625, 36.0, 0.352, Casing, 10.625, 10.5, (Memory, CouplingPage, CouplingPage)),
    row("9-5/8", 9.625, 40.0, 0.395, Casing, 10.625, 10.5, (Memory, CouplingPage, CouplingPage)),
    row("9-5/8", 9.625, 43.5, 0.435, Casing, 10.625, 10.5, (Memory, CouplingPage, CouplingPage)),
    row("9-5/8", 9.625, 47.0, 0.472, Casing, 10.625, 10.5, (Memory, CouplingPage, CouplingPage)),
    row("9-5/8", 9.625, 53.5, 0.545, Casing, 10.625, 10.5, (Memory, CouplingPage, CouplingPage)),
];
