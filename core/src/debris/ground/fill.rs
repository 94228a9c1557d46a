//! Values where none is seen, from those around.

/// Fills unseen places from the seen ones around them, over a pyramid of halved grids, and smooths the seen ones lightly.
pub(super) fn fill_unseen(values: &[f32], seen: &[bool], columns: usize, rows: usize) -> Vec<f32> {
    let weights: Vec<f32> = (0..values.len())
        .map(|index| {
            let (x, y) = (index % columns, index / columns);
            let whole = (y.saturating_sub(1)..(y + 2).min(rows))
                .all(|ny| (x.saturating_sub(1)..(x + 2).min(columns)).all(|nx| seen[ny * columns + nx]));
            // Blocks beside a grain hold some of its blurred edge: they count little.
            if whole {
                1.0
            } else if seen[index] {
                0.02
            } else {
                0.0
            }
        })
        .collect();
    pull_push(values, &weights, columns, rows)
}

pub(super) fn pull_push(values: &[f32], weights: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    if columns <= 1 && rows <= 1 {
        return vec![if weights[0] > 0.0 { values[0] } else { 1.0 }];
    }
    let (half_columns, half_rows) = (columns.div_ceil(2), rows.div_ceil(2));
    let mut half_values = vec![0.0_f32; half_columns * half_rows];
    let mut half_weights = vec![0.0_f32; half_columns * half_rows];
    for y in 0..rows {
        for x in 0..columns {
            let (from, to) = (y * columns + x, (y / 2) * half_columns + x / 2);
            half_values[to] += values[from] * weights[from];
            half_weights[to] += weights[from];
        }
    }
    for (value, weight) in half_values.iter_mut().zip(&mut half_weights) {
        if *weight > 0.0 {
            *value /= *weight;
        }
        *weight = weight.min(1.0);
    }
    let coarse = pull_push(&half_values, &half_weights, half_columns, half_rows);
    let mut out = vec![0.0_f32; values.len()];
    for y in 0..rows {
        for x in 0..columns {
            let index = y * columns + x;
            let from = bilinear(&coarse, half_columns, half_rows, (x as f32 + 0.5) / 2.0 - 0.5, (y as f32 + 0.5) / 2.0 - 0.5);
            let weight = weights[index].min(1.0) * 0.7;
            out[index] = weight * values[index] + (1.0 - weight) * from;
        }
    }
    out
}

pub(super) fn bilinear(values: &[f32], columns: usize, rows: usize, x: f32, y: f32) -> f32 {
    let (x, y) = (x.clamp(0.0, (columns - 1) as f32), y.clamp(0.0, (rows - 1) as f32));
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(columns - 1), (y0 + 1).min(rows - 1));
    let (fx, fy) = (x - x0 as f32, y - y0 as f32);
    let upper = values[y0 * columns + x0] * (1.0 - fx) + values[y0 * columns + x1] * fx;
    let lower = values[y1 * columns + x0] * (1.0 - fx) + values[y1 * columns + x1] * fx;
    upper * (1.0 - fy) + lower * fy
}
