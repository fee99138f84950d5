//! Reading a scenario, and what must hold before it is run.

use super::Scenario;

impl Scenario {
    /// Reads and checks a scenario; an error says where and what.
    pub fn parse(text: &str) -> Result<Self, String> {
        let scenario: Self = toml::from_str(text).map_err(|error| error.to_string())?;
        scenario.check()?;
        Ok(scenario)
    }

    fn check(&self) -> Result<(), String> {
        let well = &self.well;
        let first = well
            .survey
            .first()
            .ok_or("well.survey: give at least one station")?;
        if first.md.0 != 0.0 {
            return Err("well.survey: the first station must be at md = \"0 m\"".into());
        }
        if well
            .survey
            .windows(2)
            .any(|pair| pair[1].md.0 <= pair[0].md.0)
        {
            return Err("well.survey: md must grow from station to station".into());
        }
        if well.interval_bottom.0 - well.interval_top.0 < 1.0 {
            return Err("well.interval_bottom: must lie at least 1 m below interval_top".into());
        }
        if well.interval_top.0 < 100.0 {
            return Err("well.interval_top: the bench well needs at least 100 m of line".into());
        }
        let positive = [
            ("well.bin", well.bin.0),
            ("line.diameter", self.line.diameter.0),
            ("line.modulus", self.line.modulus.0),
            ("line.element", self.line.element.0),
            ("tool.mass", self.tool.mass.0),
            ("cutter.radius", self.cutter.radius.0),
            ("cutter.edge_angle", self.cutter.edge_angle.0),
            ("cutter.radial_force", self.cutter.radial_force.0),
            ("cutter.contact_pressure", self.cutter.contact_pressure.0),
            ("pipe.wall", self.pipe.wall.0),
            ("pipe.joint_length", self.pipe.joint_length.0),
            ("work.run_speed", self.work.run_speed.0),
            ("work.up_speed", self.work.up_speed.0),
            ("work.down_speed", self.work.down_speed.0),
            ("work.acceleration", self.work.acceleration.0),
            ("load.rate", self.load.rate.0),
            ("depth.rate", self.depth.rate.0),
        ];
        if let Some((key, value)) = positive.iter().find(|(_, value)| *value <= 0.0) {
            return Err(format!("{key}: found {value}, must be above zero"));
        }
        if self.cutter.wheels == 0 || self.cutter.wheels > 32 {
            return Err("cutter.wheels: give 1 to 32".into());
        }
        if self.pipe.hardening.abs() > 1.0 {
            return Err("pipe.hardening: give -1 to 1".into());
        }
        if !(0.0..=0.8).contains(&self.pipe.thin_wall) {
            return Err("pipe.thin_wall: give 0 to 0.8".into());
        }
        if self.load.rate.0 > 2000.0 || self.depth.rate.0 > 2000.0 {
            return Err("load.rate, depth.rate: at most 2000 Hz".into());
        }
        if self.record.together && self.load.rate.0 != self.depth.rate.0 {
            return Err("record.together: needs load.rate equal to depth.rate".into());
        }
        Ok(())
    }
}
