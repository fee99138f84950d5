//! A small writer of vector charts: axes with round ticks, lines, bands, bars, labels.
//!
//! Looks come from CSS classes of the page ([`STYLE`]); each series differs by dash or hatch as
//! well as by grey level, so that a print without colour still reads. No script, no font file.

mod axis;

pub(crate) use axis::Axis;

use std::fmt::Write as _;

/// CSS of the charts; goes once into the page.
pub(crate) const STYLE: &str = "
svg{display:block;width:100%;height:auto;font:11px system-ui,sans-serif}
svg text{fill:#333}
svg .axis{stroke:#777;stroke-width:1;fill:none}
svg .grid{stroke:#ddd;stroke-width:.7;fill:none}
svg .main{stroke:#0b5394;stroke-width:1.6;fill:none;stroke-linejoin:round}
svg .second{stroke:#555;stroke-width:1.2;fill:none;stroke-dasharray:6 3}
svg .third{stroke:#999;stroke-width:1.4;fill:none}
svg .fourth{stroke:#777;stroke-width:1.1;fill:none;stroke-dasharray:1.5 2.5}
svg .split{stroke:#777;stroke-width:7;fill:none}
svg .limit{stroke:#111;stroke-width:1.3;fill:none;stroke-dasharray:9 3 2 3}
svg .band{fill:#0b5394;fill-opacity:.17;stroke:none}
svg .bar{fill:#0b5394;stroke:none}
svg .bar2{fill:#b5b5b5;stroke:none}
svg .dot{fill:#0b5394;stroke:none}
svg .ring{fill:#fff;stroke:#555;stroke-width:1}
svg .edge{fill:#111;stroke:none}
svg .shade{fill:#ececec;stroke:none}
svg .hatch{fill:url(#hatch);stroke:#999;stroke-width:.5}
svg .small{font-size:10px;fill:#555}
svg .strong{font-weight:600}
";

/// Hatch used for couplings; once per page.
pub(crate) const DEFINITIONS: &str = "<svg width=\"0\" height=\"0\" style=\"position:absolute\" \
aria-hidden=\"true\"><defs><pattern id=\"hatch\" width=\"5\" height=\"5\" \
patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"5\" height=\"5\" \
fill=\"#f6f6f6\"/><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"5\" stroke=\"#aaa\" stroke-width=\"1.6\"/>\
</pattern></defs></svg>";

/// A chart under construction.
#[derive(Debug)]
pub(crate) struct Chart {
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    x: Axis,
    y: Axis,
    behind: String,
    body: String,
}

impl Chart {
    /// `width` and `height` in CSS pixels of the view box.
    pub(crate) fn new(width: f64, height: f64, x: Axis, y: Axis) -> Self {
        Self {
            width,
            height,
            left: 58.0,
            right: 22.0,
            top: 12.0,
            bottom: 40.0,
            x,
            y,
            behind: String::new(),
            body: String::new(),
        }
    }

    /// Room above the plot, for labels.
    pub(crate) fn room_above(mut self, pixels: f64) -> Self {
        self.top = pixels;
        self
    }

    fn px(&self, x: f64) -> f64 {
        let span = self.width - self.left - self.right;
        self.left + self.x.place(x).clamp(-0.01, 1.01) * span
    }

    fn py(&self, y: f64) -> f64 {
        let span = self.height - self.top - self.bottom;
        self.height - self.bottom - self.y.place(y).clamp(-0.01, 1.01) * span
    }

    /// A line through points; a gap where a value is `None` or not finite.
    pub(crate) fn line(
        &mut self,
        class: &str,
        points: impl IntoIterator<Item = (f64, Option<f64>)>,
    ) {
        let mut path = String::new();
        let mut pen = false;
        for (x, y) in points {
            match y.filter(|y| y.is_finite() && x.is_finite()) {
                Some(y) => {
                    let letter = if pen { 'L' } else { 'M' };
                    let _ = write!(path, "{letter}{:.1} {:.1}", self.px(x), self.py(y));
                    pen = true;
                }
                None => pen = false,
            }
        }
        if !path.is_empty() {
            let _ = write!(self.body, "<path class=\"{class}\" d=\"{path}\"/>");
        }
    }

    /// The area between two lines given by the same run of points `(along, low, high)`;
    /// `along_y` when the common coordinate is the vertical one.
    pub(crate) fn band(&mut self, along_y: bool, points: &[(f64, f64, f64)]) {
        if points.is_empty() {
            return;
        }
        let at = |along: f64, value: f64| {
            if along_y {
                (self.px(value), self.py(along))
            } else {
                (self.px(along), self.py(value))
            }
        };
        let lows = points.iter().map(|&(a, low, _)| at(a, low));
        let highs = points.iter().rev().map(|&(a, _, high)| at(a, high));
        let corners: Vec<String> = lows
            .chain(highs)
            .map(|(x, y)| format!("{x:.1},{y:.1}"))
            .collect();
        let _ = write!(
            self.behind,
            "<polygon class=\"band\" points=\"{}\"/>",
            corners.join(" ")
        );
    }

    /// A rectangle in data units; `None` reaches to the edge of the plot. Drawn behind the lines.
    pub(crate) fn area(
        &mut self,
        class: &str,
        x: Option<(f64, f64)>,
        y: Option<(f64, f64)>,
        title: &str,
    ) {
        let (x0, x1) = x.unwrap_or((self.x.from, self.x.to));
        let (y0, y1) = y.unwrap_or((self.y.from, self.y.to));
        let (x0, x1) = order(self.px(x0), self.px(x1));
        let (y0, y1) = order(self.py(y0), self.py(y1));
        let title = if title.is_empty() {
            String::new()
        } else {
            format!("<title>{}</title>", escape(title))
        };
        let _ = write!(
            self.behind,
            "<rect class=\"{class}\" x=\"{x0:.1}\" y=\"{y0:.1}\" width=\"{:.1}\" \
             height=\"{:.1}\">{title}</rect>",
            (x1 - x0).max(0.6),
            (y1 - y0).max(0.6)
        );
    }

    /// A dot or ring.
    pub(crate) fn dot(&mut self, class: &str, x: f64, y: f64, radius: f64) {
        if x.is_finite() && y.is_finite() {
            let (x, y) = (self.px(x), self.py(y));
            let _ = write!(
                self.body,
                "<circle class=\"{class}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius}\"/>"
            );
        }
    }

    /// A value beyond the vertical scale: an arrow at the edge of the plot, pointing out, with `text` beside it.
    pub(crate) fn beyond(&mut self, x: f64, y: f64, text: &str) {
        if !x.is_finite() || y.is_nan() {
            return;
        }
        let is_above = y > self.y.from.max(self.y.to);
        let edge = if is_above {
            self.top
        } else {
            self.height - self.bottom
        };
        // The tip is at the edge, the rest inside the plot.
        let (x, inward) = (self.px(x), if is_above { 7.0 } else { -7.0 });
        let (base, words) = (edge + inward, edge + if is_above { 9.0 } else { -2.0 });
        let is_right = x > 0.8 * self.width;
        let (anchor, beside) = if is_right {
            ("end", -6.0)
        } else {
            ("start", 6.0)
        };
        let _ = write!(
            self.body,
            "<path class=\"edge\" d=\"M{x:.1} {edge:.1}L{:.1} {base:.1}H{:.1}Z\"/>\
             <text class=\"small\" x=\"{:.1}\" y=\"{words:.1}\" text-anchor=\"{anchor}\">{}</text>",
            x - 4.0,
            x + 4.0,
            x + beside,
            escape(text)
        );
    }

    /// Text at a point; `anchor` is `start`, `middle` or `end`; `lift` moves it up, in pixels.
    pub(crate) fn label(&mut self, x: f64, y: f64, anchor: &str, lift: f64, text: &str) {
        let (x, y) = (self.px(x), self.py(y) - lift);
        let _ = write!(
            self.body,
            "<text class=\"small\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{}</text>",
            escape(text)
        );
    }

    /// The whole `<svg>`; `says` is what someone who cannot see it is told.
    pub(crate) fn finish(self, says: &str) -> String {
        let mut text = format!(
            "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">",
            self.width,
            self.height,
            escape(says)
        );
        let (left, right) = (self.left, self.width - self.right);
        let (top, bottom) = (self.top, self.height - self.bottom);
        text += &self.behind;
        let most_x = ((right - left) / 75.0).max(2.0) as usize;
        let most_y = ((bottom - top) / 36.0).max(2.0) as usize;
        for (value, tick) in self.x.ticks(most_x) {
            let x = self.px(value);
            let _ = write!(
                text,
                "<path class=\"grid\" d=\"M{x:.1} {top:.1}V{bottom:.1}\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{tick}</text>",
                bottom + 14.0
            );
        }
        for (value, tick) in self.y.ticks(most_y) {
            let y = self.py(value);
            let _ = write!(
                text,
                "<path class=\"grid\" d=\"M{left:.1} {y:.1}H{right:.1}\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{tick}</text>",
                left - 5.0,
                y + 3.5
            );
        }
        let _ = write!(
            text,
            "<path class=\"axis\" d=\"M{left:.1} {top:.1}V{bottom:.1}H{right:.1}\"/>\
             <text class=\"strong\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>\
             <text class=\"strong\" transform=\"translate(13 {:.1}) rotate(-90)\" \
             text-anchor=\"middle\">{}</text>",
            (left + right) / 2.0,
            self.height - 6.0,
            escape(&self.x.label),
            (top + bottom) / 2.0,
            escape(&self.y.label)
        );
        text += &self.body;
        text + "</svg>"
    }
}

fn order(a: f64, b: f64) -> (f64, f64) {
    if a <= b { (a, b) } else { (b, a) }
}

/// Text made safe for HTML and SVG, attributes included.
pub(crate) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            // Control characters are not allowed in XML at all.
            c if c.is_control() && c != '\n' => safe.push(' '),
            c => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axis_without_extent_or_finite_ends_still_draws() {
        for (a, b) in [(3.0, 3.0), (f64::NAN, 1.0), (0.0, f64::INFINITY)] {
            let mut chart = Chart::new(100.0, 80.0, Axis::new("x", a, b), Axis::new("y", 0.0, 1.0));
            chart.line("main", [(a, Some(0.5)), (b, None)]);
            let svg = chart.finish("test");
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }

    #[test]
    fn a_value_beyond_the_scale_is_an_arrow_at_the_edge_with_its_size() {
        let mut chart = Chart::new(
            800.0,
            200.0,
            Axis::new("x", 0.0, 10.0),
            Axis::new("y", -5.0, 5.0),
        );
        chart.beyond(2.0, -99.0, "-99 N");
        chart.beyond(9.9, 99.0, "99 N");
        let svg = chart.finish("test");
        assert_eq!(svg.matches("class=\"edge\"").count(), 2);
        assert!(
            svg.contains("text-anchor=\"start\">-99 N<")
                && svg.contains("text-anchor=\"end\">99 N<"),
            "{svg}"
        );
    }

    #[test]
    fn names_from_the_job_cannot_break_the_page() {
        assert_eq!(
            escape("<b a=\"1\">&'"),
            "&lt;b a=&quot;1&quot;&gt;&amp;&#39;"
        );
    }
}
