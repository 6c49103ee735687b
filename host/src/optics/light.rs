//! What the glass does to the light.
//!
//! Clean, uncoated glass that swallows nothing: what does not go through is reflected. Real panes lose a
//! little more (dirt, and the green of thick window glass).

/// The part of the light that goes through one pane, with every reflection between its faces:
/// `(1 - R)/(1 + R) = 2n/(1 + n²)`, where a bare surface reflects `R = ((n - 1)/(n + 1))²`, seen
/// straight on (Fresnel; any optics handbook).
#[must_use]
pub fn pane_transmittance(index: f64) -> f64 {
    pile_transmittance([index])
}

/// The part of the light that goes through several panes one behind another, of refractive indices
/// that may differ, with every reflection between all their faces. Reflections add as amounts of light,
/// not as waves: panes are far thicker than light is coherent.
///
/// For equal panes this is Stokes' `(1 - R)/(1 + (2m - 1) R)` (On the intensity of the light reflected
/// from or transmitted through a pile of plates, 1862; formula from memory). Of any pile that
/// swallows nothing, what is reflected over what goes through adds up pane by pane, and is
/// `(n - 1)²/(2n)` for one.
#[must_use]
pub fn pile_transmittance(indices: impl IntoIterator<Item = f64>) -> f64 {
    let reflected: f64 = indices
        .into_iter()
        .map(|index| (index - 1.0).powi(2) / (2.0 * index))
        .sum();
    1.0 / (1.0 + reflected)
}

/// A ratio of amounts of light, or of exposure times, in stops: its logarithm to base 2. Below 0
/// for a loss.
#[must_use]
pub fn stops(ratio: f64) -> f64 {
    ratio.log2()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What one bare surface reflects, seen straight on: 4 % at n = 1.5 (nfos.org, tsld017; seen).
    fn surface_reflectance(index: f64) -> f64 {
        ((index - 1.0) / (index + 1.0)).powi(2)
    }

    fn near(value: f64, expected: f64, within: f64) {
        assert!((value - expected).abs() <= within, "{value} {expected}");
    }

    /// Saleh & Teich as quoted in a public repository (seen): a plate of n = 1.5 reflects 0.07692.
    /// glassproperties.com (seen): about 8 %. At 1.52 our own arithmetic by the same formula.
    #[test]
    fn one_pane() {
        near(1.0 - pane_transmittance(1.5), 0.076_92, 5e-6);
        near(pane_transmittance(1.52), 0.918_32, 5e-6);
        let r = surface_reflectance(1.52);
        near(pane_transmittance(1.52), (1.0 - r) / (1.0 + r), 1e-12);
    }

    /// One to six panes of n = 1.52: our own arithmetic by Stokes' formula (from memory), which he did
    /// not print. The independent check is the recursion below it: a pile of unlike panes by adding
    /// one pane after another with all reflections between it and the pile, `T1 T2/(1 - R1 R2)`.
    #[test]
    fn piles_of_panes() {
        let by_formula = [0.9183, 0.8490, 0.7894, 0.7376, 0.6922, 0.6520];
        let r = surface_reflectance(1.52);
        for (panes, expected) in (1..).zip(by_formula) {
            let through = pile_transmittance(vec![1.52; panes]);
            near(through, expected, 5e-5);
            let twice = 2.0 * panes as f64 - 1.0;
            near(through, (1.0 - r) / (1.0 + twice * r), 1e-12);
        }
        let indices = [1.49, 1.52, 1.6, 1.52, 1.9];
        let mut through = 1.0;
        for (panes, index) in (1..).zip(indices) {
            let pane = pane_transmittance(index);
            through = through * pane / (1.0 - (1.0 - through) * (1.0 - pane));
            near(
                pile_transmittance(indices[..panes].iter().copied()),
                through,
                1e-12,
            );
        }
        assert_eq!(pile_transmittance([]), 1.0);
    }

    /// The table of (1 + m)²: 0.275, 0.644, 1.170, 2 and 3.170 stops (by the formula).
    #[test]
    fn stops_are_halvings() {
        for (magnification, expected) in [
            (0.1, 0.275),
            (0.25, 0.644),
            (0.5, 1.170),
            (1.0, 2.0),
            (2.0, 3.170),
        ] {
            let factor = crate::optics::depth::exposure_factor(magnification);
            near(stops(factor), expected, 5e-4);
        }
        near(stops(0.5), -1.0, 1e-12);
    }
}
