//! The lens height that leaves the least picture error.

/// The lift `L` that makes the sum of `(w / (b + L) - 1)^2` least over pairs of wanted apparent
/// distance `w` and distance at lift zero `b`: the picture's corner is pictured from the art at
/// radius `r`, but belongs at `r b / w` of it. 0 where there is nothing to solve for.
pub(crate) fn best_lift(pairs: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let pairs = pairs.filter(|(wanted, zero)| *wanted > 0.0 && *zero > 0.0);
    let (mut least, mut greatest, mut nearest) = (f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY);
    for (wanted, zero) in pairs.clone() {
        least = least.min(wanted - zero);
        greatest = greatest.max(wanted - zero);
        nearest = nearest.min(zero);
    }
    if !(least.is_finite() && greatest.is_finite()) {
        return 0.0;
    }
    // All errors have one sign outside of these bounds, so the least sum lies between them.
    let (mut low, mut high) = (least.max(-nearest * (1.0 - 1e-9)), greatest);
    if low >= high {
        return low;
    }
    // Slope of the sum over the lift (halved), and its slope.
    let slopes = |lift: f64| {
        pairs
            .clone()
            .fold((0.0, 0.0), |(slope, bend), (wanted, zero)| {
                let distance = zero + lift;
                let ratio = wanted / distance;
                let fall = ratio / distance;
                (
                    slope - (ratio - 1.0) * fall,
                    bend + fall / distance * (3.0 * ratio - 2.0),
                )
            })
    };
    let mut lift = 0.0_f64.max(low).min(high);
    for _ in 0..100 {
        let (slope, bend) = slopes(lift);
        if slope > 0.0 {
            high = lift;
        } else {
            low = lift;
        }
        let newton = lift - slope / bend;
        let next = if bend > 0.0 && newton > low && newton < high {
            newton
        } else {
            f64::midpoint(low, high)
        };
        let step = (next - lift).abs();
        lift = next;
        if step <= 1e-13 * (lift.abs() + nearest) {
            break;
        }
    }
    lift
}

#[cfg(test)]
mod tests {
    use super::best_lift;

    #[test]
    fn one_level_without_a_lift_is_met_exactly() {
        let lift = best_lift([(700.0, 1000.0)].into_iter());
        assert!((lift + 300.0).abs() < 1e-9);
        assert_eq!(best_lift(std::iter::empty()), 0.0);
    }

    #[test]
    fn no_other_lens_height_leaves_less() {
        let pairs = [(400.0, 500.0), (700.0, 750.0), (1400.0, 1400.0)];
        let left = |lift: f64| -> f64 {
            pairs
                .iter()
                .map(|(wanted, zero)| (wanted / (zero + lift) - 1.0_f64).powi(2))
                .sum()
        };
        let best = best_lift(pairs.into_iter());
        for step in 1..2000 {
            let other = -250.0 + 0.25 * f64::from(step);
            assert!(left(best) <= left(other) + 1e-15, "{best} {other}");
        }
    }
}
