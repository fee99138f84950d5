//! `job.toml`: what the crew believes of its well, which is not quite what is.
//!
//! Depths, pipe and cutter are what they are; friction, densities, mass, radial force and contact pressure are off by the
//! factors below (invented), couplings by a common shift and centimetres each.

use super::dice::Dice;
use super::well::Well;
use std::fmt::{self, Write};

/// Friction and the like are believed within this.
const VAGUE: f64 = 0.25;

/// The job file.
pub fn write(well: &Well) -> Result<String, fmt::Error> {
    let mut dice = Dice::new(well.seed + 555);
    let mut out = String::new();
    header(&mut out, well)?;
    survey(&mut out, well)?;
    fluid_and_line(&mut out, well, &mut dice)?;
    tool_and_cutter(&mut out, well, &mut dice)?;
    tubular(&mut out, well, &mut dice)?;
    writeln!(out, "[depth]\ncounts = \"tensioned\"\n")?;
    writeln!(out, "[alarm]")?;
    writeln!(out, "tension_limit = \"{:.0} N\"", well.habits.limit)?;
    writeln!(
        out,
        "overpull = \"2000 N\"\nslack = \"300 N\"\nspeed = \"2 m/s\""
    )?;
    Ok(out)
}

fn header(out: &mut String, well: &Well) -> fmt::Result {
    let (name, hole) = (&well.name, &well.hole);
    let size = match well.pipe.outer_diameter {
        d if d < 0.08 => "2-7/8",
        d if d < 0.1 => "3-1/2",
        d if d < 0.12 => "4-1/2",
        _ => "5-1/2",
    };
    writeln!(out, "# Invented well, made by an independent simulator.")?;
    writeln!(out, "[job]")?;
    writeln!(
        out,
        "name = \"{name} split of {size} in tubing (invented)\""
    )?;
    writeln!(out, "well = \"{name}\"")?;
    writeln!(out, "interval_top = \"{:.1} m\"", hole.top)?;
    writeln!(out, "interval_bottom = \"{:.1} m\"", hole.bottom)?;
    writeln!(out, "display = \"metric\"\nbin = \"0.1 m\"\n")
}

fn survey(out: &mut String, well: &Well) -> fmt::Result {
    let survey = &well.hole.survey;
    for ((depth, inclination), azimuth) in survey
        .depth
        .iter()
        .zip(&survey.inclination)
        .zip(&survey.azimuth)
    {
        writeln!(out, "[[survey]]")?;
        writeln!(out, "md = \"{depth:.1} m\"")?;
        writeln!(out, "inc = \"{:.4} deg\"", inclination.to_degrees())?;
        let azimuth = azimuth.to_degrees().rem_euclid(360.0);
        writeln!(out, "azi = \"{azimuth:.4} deg\"\n")?;
    }
    Ok(())
}

fn fluid_and_line(out: &mut String, well: &Well, dice: &mut Dice) -> fmt::Result {
    let (hole, wire) = (&well.hole, &well.wire);
    writeln!(out, "[fluid]")?;
    let density = hole.fluid_density * dice.belief(0.02);
    writeln!(out, "density = \"{density:.0} kg/m3\"")?;
    let pressure = hole.wellhead_pressure * dice.belief(0.03) / 1e6;
    writeln!(out, "wellhead_pressure = \"{pressure:.2} MPa\"")?;
    let gradient = hole.temperature_gradient * dice.belief(0.1);
    writeln!(out, "temperature_gradient = \"{gradient:.4} K/m\"\n")?;

    let friction_up = wire.friction_up * dice.belief(VAGUE);
    let friction_down = if dice.chance(0.5) {
        friction_up
    } else {
        wire.friction_down * dice.belief(VAGUE)
    };
    writeln!(out, "[line]")?;
    writeln!(out, "diameter = \"{:.4} mm\"", wire.diameter * 1e3)?;
    let modulus = (wire.modulus * dice.belief(0.03)) / 1e9;
    writeln!(out, "modulus = \"{modulus:.1} GPa\"")?;
    writeln!(out, "density = \"7850 kg/m3\"")?;
    writeln!(out, "breaking_load = \"{:.0} N\"", wire.breaking)?;
    writeln!(out, "expansion = \"1.17e-5 1/K\"")?;
    let packing = wire.packing * dice.belief(VAGUE);
    writeln!(out, "stuffing_box_friction = \"{packing:.0} N\"")?;
    writeln!(out, "friction_up = {friction_up:.3}")?;
    writeln!(out, "friction_down = {friction_down:.3}\n")?;
    for (name, path) in [("stuffing box wheel", "0.3 m"), ("hay pulley", "18 m")] {
        writeln!(out, "[[line.sheave]]\nname = \"{name}\"")?;
        writeln!(out, "diameter = \"0.406 m\"\npath = \"{path}\"\n")?;
    }
    Ok(())
}

fn tool_and_cutter(out: &mut String, well: &Well, dice: &mut Dice) -> fmt::Result {
    let (tool, cutter) = (&well.tool, &well.cutter);
    writeln!(out, "[tool]")?;
    writeln!(out, "mass = \"{:.1} kg\"", tool.mass * dice.belief(0.05))?;
    writeln!(out, "weak_point = \"{:.0} N\"", tool.weak_point)?;
    writeln!(out, "cutter_offset = \"{:.2} m\"\n", tool.cutter_offset)?;
    writeln!(out, "[cutter]")?;
    writeln!(out, "wheels = {}", cutter.wheels)?;
    writeln!(out, "radius = \"{:.1} mm\"", cutter.radius * 1e3)?;
    writeln!(
        out,
        "edge_angle = \"{:.4} deg\"",
        cutter.edge_angle.to_degrees()
    )?;
    writeln!(out, "reach = \"{:.0} mm\"", cutter.reach * 1e3)?;
    let force = cutter.radial_force * dice.belief(VAGUE);
    writeln!(out, "radial_force = \"{force:.0} N\"")?;
    // Half the crews have no figure for it.
    if dice.chance(0.5) {
        let pressure = well.metal.pressure * dice.belief(VAGUE) / 1e6;
        writeln!(out, "contact_pressure = \"{pressure:.0} MPa\"")?;
    }
    writeln!(out)
}

fn tubular(out: &mut String, well: &Well, dice: &mut Dice) -> fmt::Result {
    let pipe = &well.pipe;
    writeln!(out, "[tubular]")?;
    writeln!(out, "od = \"{:.3} mm\"", pipe.outer_diameter * 1e3)?;
    writeln!(out, "wall = \"{:.2} mm\"", pipe.wall * 1e3)?;
    writeln!(out, "wall_tolerance = 0.125")?;
    writeln!(out, "yield = \"{:.0} MPa\"", pipe.yield_strength / 1e6)?;
    writeln!(
        out,
        "coupling_od = \"{:.1} mm\"",
        pipe.coupling_diameter * 1e3
    )?;
    writeln!(
        out,
        "coupling_length = \"{:.0} mm\"\n",
        pipe.coupling_length * 1e3
    )?;
    let common_shift = dice.normal_within(2.0) * 0.2;
    for coupling in &pipe.couplings {
        let told = coupling + common_shift + dice.normal() * 0.05;
        writeln!(out, "[[joint]]\ncoupling = \"{told:.2} m\"\n")?;
    }
    Ok(())
}
