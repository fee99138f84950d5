//! Least squares over the strokes of a comparison: columns freed of level and trend, two bounded factors,
//! and how many of the residuals are independent.

/// Takes level and trend along depth out of a column of one stroke.
#[derive(Debug)]
pub(super) struct Freed {
    /// Depth from the middle, m, and the sum of its squares.
    z: Vec<f64>,
    zz: f64,
}

impl Freed {
    pub(super) fn new(points: &[(f64, f64)]) -> Self {
        let middle = points.iter().map(|p| p.0).sum::<f64>() / points.len().max(1) as f64;
        let z: Vec<f64> = points.iter().map(|p| p.0 - middle).collect();
        let zz = z.iter().map(|z| z * z).sum();
        Self { z, zz }
    }

    pub(super) fn of(&self, values: impl Iterator<Item = f64>) -> Vec<f64> {
        let mut values: Vec<f64> = values.collect();
        let level = values.iter().sum::<f64>() / values.len().max(1) as f64;
        let slope = if self.zz > 0.0 {
            let pairs = values.iter().zip(&self.z);
            pairs.map(|(v, z)| v * z).sum::<f64>() / self.zz
        } else {
            0.0
        };
        for (v, z) in values.iter_mut().zip(&self.z) {
            *v -= level + slope * z;
        }
        values
    }
}

/// Least and most of the two factors of the model.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    pub(super) pattern: (f64, f64),
    pub(super) fresh: (f64, f64),
}

/// What is left of `y` after its best fit by `x` and `u` with factors within the bounds; by stroke.
pub(super) fn residuals(
    y: &[Vec<f64>],
    x: &[Vec<f64>],
    u: &[Vec<f64>],
    bounds: Bounds,
) -> Vec<Vec<f64>> {
    let dot = |a: &[Vec<f64>], b: &[Vec<f64>]| -> f64 {
        let rows = a.iter().zip(b);
        rows.map(|(a, b)| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>())
            .sum()
    };
    let (xx, uu, xu) = (dot(x, x), dot(u, u), dot(x, u));
    let (xy, uy) = (dot(x, y), dot(u, y));
    let best = |top: f64, size: f64, (low, high): (f64, f64)| {
        let free = if size > 1e-9 { top / size } else { low };
        free.clamp(low, high)
    };
    let det = xx * uu - xu * xu;
    let free = (det > 1e-9 * xx * uu)
        .then(|| ((xy * uu - uy * xu) / det, (uy * xx - xy * xu) / det))
        .filter(|(b, f)| {
            (bounds.pattern.0..=bounds.pattern.1).contains(b)
                && (bounds.fresh.0..=bounds.fresh.1).contains(f)
        });
    // Outside the bounds the best lies on one of their four edges.
    let edges = [bounds.pattern.0, bounds.pattern.1]
        .map(|b| (b, best(uy - b * xu, uu, bounds.fresh)))
        .into_iter()
        .chain(
            [bounds.fresh.0, bounds.fresh.1].map(|f| (best(xy - f * xu, xx, bounds.pattern), f)),
        );
    let cost = |(b, f): (f64, f64)| {
        b * b * xx + f * f * uu + 2.0 * b * f * xu - 2.0 * b * xy - 2.0 * f * uy
    };
    let (b, f) = free
        .or_else(|| edges.min_by(|p, q| cost(*p).total_cmp(&cost(*q))))
        .unwrap_or((0.0, bounds.fresh.0));
    y.iter()
        .zip(x.iter().zip(u))
        .map(|(y, (x, u))| {
            let columns = y.iter().zip(x.iter().zip(u));
            columns.map(|(y, (x, u))| y - b * x - f * u).collect()
        })
        .collect()
}

pub(super) fn square_sum(rows: &[Vec<f64>]) -> f64 {
    rows.iter().flatten().map(|v| v * v).sum()
}

/// Value at a depth between two neighbouring points; `None` in a gap.
pub(super) fn between(points: &[(f64, f64)], values: &[f64], depth: f64) -> Option<f64> {
    let after = points.partition_point(|p| p.0 < depth);
    let before = after.checked_sub(1)?;
    let (a, b) = (points[before].0, points.get(after)?.0);
    if b - a > 0.35 {
        return None;
    }
    let part = (depth - a) / (b - a);
    Some(values[before] + part * (values[after] - values[before]))
}

/// So many independent residuals are there, from their correlation along depth; strokes that leave the
/// same residuals count as one.
pub(super) fn independent(points: &[&[(f64, f64)]], rows: &[Vec<f64>]) -> f64 {
    let lengths: Vec<f64> = rows.iter().map(|r| correlation_length(r)).collect();
    let each: f64 = rows
        .iter()
        .zip(&lengths)
        .map(|(r, length)| r.len() as f64 / length)
        .sum();
    each / (1.0 + (rows.len() as f64 - 1.0) * shared(points, rows))
}

/// Correlation of the residuals of neighbouring strokes at the same depth, 0 to 1.
fn shared(points: &[&[(f64, f64)]], rows: &[Vec<f64>]) -> f64 {
    let (mut both, mut own) = (0.0, 0.0);
    for (pair, points) in rows.windows(2).zip(points.windows(2)) {
        for (a, (z, _)) in pair[0].iter().zip(points[0]) {
            if let Some(b) = between(points[1], &pair[1], *z) {
                both += a * b;
                own += 0.5 * (a * a + b * b);
            }
        }
    }
    if own > 0.0 {
        (both / own).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// So many neighbours count as one.
fn correlation_length(residuals: &[f64]) -> f64 {
    let total: f64 = residuals.iter().map(|v| v * v).sum();
    if total <= 0.0 {
        return 1.0;
    }
    let mut length = 1.0;
    for lag in 1..residuals.len() / 3 {
        let pairs = residuals.iter().zip(&residuals[lag..]);
        let part = pairs.map(|(a, b)| a * b).sum::<f64>() / total;
        if part < 0.05 {
            break;
        }
        length += 2.0 * part;
    }
    length
}
