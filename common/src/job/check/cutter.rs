//! Tool, wheels and the pipe that they are to split.

use crate::job::Job;
use crate::job::quantity::Dimension as D;
use crate::job::report::Report;

pub(super) fn tool_and_cutter(job: &Job, report: &Report<'_>) {
    let (tool, cutter, tubular) = (&job.tool, &job.cutter, &job.tubular);
    report.all_within(
        "tool",
        &[
            ("mass", tool.mass.si(), D::Mass, 1.0, 2000.0),
            ("weak_point", tool.weak_point.si(), D::Force, 100.0, 200e3),
            (
                "cutter_offset",
                tool.cutter_offset.si(),
                D::Length,
                0.0,
                50.0,
            ),
        ],
    );
    if tool.displaced_volume.si() < 0.0
        || tool.displaced_volume.si() * job.fluid.density.si() >= tool.mass.si()
    {
        report.fault(
            "tool",
            "displaced_volume",
            format!(
                "{}, in which fluid of this density bears the whole tool",
                D::Volume.show(tool.displaced_volume.si())
            ),
            "the volume of the tool, e.g. its mass divided by 7850 kg/m3",
        );
    }
    if tool.weak_point.si() > job.line.breaking_load.si() {
        report.warn(
            "tool",
            "weak_point",
            format!(
                "{}, above the breaking load of the line at {}: the line parts first, anywhere",
                D::Force.show(tool.weak_point.si()),
                D::Force.show(job.line.breaking_load.si())
            ),
            "a weak point below the breaking load",
        );
    }

    report.all_within(
        "cutter",
        &[
            ("radius", cutter.radius.si(), D::Length, 1e-3, 0.2),
            (
                "edge_angle",
                cutter.edge_angle.si(),
                D::Angle,
                5f64.to_radians(),
                170f64.to_radians(),
            ),
            (
                "radial_force",
                cutter.radial_force.si(),
                D::Force,
                10.0,
                100e3,
            ),
        ],
    );
    if let Some(sd) = cutter.radial_force_sd
        && (sd.si() < 0.0 || sd.si() >= cutter.radial_force.si())
    {
        report.fault(
            "cutter",
            "radial_force_sd",
            D::Force.show(sd.si()),
            format!(
                "a standard deviation below the radial force of {}",
                D::Force.show(cutter.radial_force.si())
            ),
        );
    }
    if let Some(pressure) = cutter.contact_pressure
        && report.within(
            "cutter",
            "contact_pressure",
            pressure.si(),
            D::Pressure,
            0.1e9,
            10e9,
        )
        && !(0.5e9..=4e9).contains(&pressure.si())
    {
        report.warn(
            "cutter",
            "contact_pressure",
            format!(
                "{}; steel pipe usually gives 0.8 to 1.7 GPa",
                D::Pressure.show(pressure.si())
            ),
            "the figure of a test cut, or leave the key out",
        );
    }
    // A wall thicker than the pipe's radius is the fault then, not the cutter.
    if cutter.reach.si() < tubular.wall.si() && tubular.wall.si() < tubular.od.si() / 2.0 {
        report.fault(
            "cutter",
            "reach",
            format!(
                "{}, less than the wall of {}: this cutter can't split this pipe",
                D::Length.show(cutter.reach.si()),
                D::Length.show(tubular.wall.si())
            ),
            "how deep a wheel reaches below the inner surface, more than the wall",
        );
    }
    let inside = tubular.od.si() - 2.0 * tubular.wall.si();
    if inside > 0.0 && cutter.reach.si() > inside {
        report.fault(
            "cutter",
            "reach",
            format!(
                "{}, more than the pipe's {} inside",
                D::Length.show(cutter.reach.si()),
                D::Length.show(inside)
            ),
            "how deep a wheel reaches below the inner surface",
        );
    } else if cutter.reach.si() > cutter.radius.si() {
        // Also what somebody writes who means how far the arms reach out: no reason to refuse the job.
        report.warn(
            "cutter",
            "reach",
            format!(
                "{}, more than the wheel radius of {}",
                D::Length.show(cutter.reach.si()),
                D::Length.show(cutter.radius.si())
            ),
            "how deep a wheel reaches below the inner surface before its hub touches the pipe",
        );
    }
    if inside > 0.0 && 2.0 * cutter.radius.si() >= inside {
        report.fault(
            "cutter",
            "radius",
            format!(
                "{}: the wheel does not go into a pipe of {} inside",
                D::Length.show(cutter.radius.si()),
                D::Length.show(inside)
            ),
            "the radius (not the diameter) of a wheel",
        );
    }
}

pub(super) fn tubular(job: &Job, report: &Report<'_>) {
    let tubular = &job.tubular;
    report.all_within(
        "tubular",
        &[
            ("od", tubular.od.si(), D::Length, 0.02, 0.6),
            (
                "yield",
                tubular.yield_strength.si(),
                D::Pressure,
                100e6,
                2e9,
            ),
            (
                "coupling_length",
                tubular.coupling_length.si(),
                D::Length,
                0.0,
                1.0,
            ),
        ],
    );
    report.number_within(
        "tubular",
        "wall_tolerance",
        tubular.wall_tolerance,
        0.0,
        0.5,
    );
    if tubular.wall.si() >= tubular.od.si() / 2.0 {
        report.fault(
            "tubular",
            "wall",
            format!(
                "{}, which is thicker than the radius of {}",
                D::Length.show(tubular.wall.si()),
                D::Length.show(tubular.od.si() / 2.0)
            ),
            "the wall thickness, e.g. wall = \"6.45 mm\"",
        );
    } else {
        report.within("tubular", "wall", tubular.wall.si(), D::Length, 0.5e-3, 0.1);
    }
    if tubular.coupling_od.si() < tubular.od.si() {
        report.fault(
            "tubular",
            "coupling_od",
            format!(
                "{}, smaller than the pipe at {}",
                D::Length.show(tubular.coupling_od.si()),
                D::Length.show(tubular.od.si())
            ),
            "the outside diameter of the coupling, at least that of the pipe",
        );
    } else if tubular.coupling_od.si() > 2.0 * tubular.od.si() {
        report.fault(
            "tubular",
            "coupling_od",
            format!(
                "{}, more than twice the pipe",
                D::Length.show(tubular.coupling_od.si())
            ),
            "the outside diameter of the coupling",
        );
    }
}
