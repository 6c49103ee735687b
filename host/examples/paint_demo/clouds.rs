//! Bands of cloud, lit from below.

use super::canvas::{Canvas, hex, layered, mix, smooth};
use super::{HORIZON, SUN};

/// How thick the cloud is, 0 to 1.
fn thick(x: f32, y: f32) -> f32 {
    // Flatter toward the horizon, as a ceiling of cloud is.
    let above = (HORIZON - y).max(1.0);
    let v = 9.0 * (above / 55.0 + 1.0).ln();
    let u = x / (190.0 + 0.75 * above);
    let bend = layered(u * 0.9 + 4.0, v * 0.8, 3, 21) - 0.5;
    let body = layered(u + 0.8 * bend, v + 1.5 * bend, 6, 30);
    let bank = layered(u * 0.35, v * 0.45, 2, 27);
    let room = smooth(18.0, 95.0, above) * (0.72 + 0.28 * smooth(560.0, 260.0, above));
    smooth(0.47, 0.80, body * 0.72 + bank * 0.40 - 0.02) * room
}

pub(crate) fn paint() -> Canvas {
    let mut canvas = Canvas::new((-120, -20), (1960, 500));
    canvas.wash(|x, y| {
        let here = thick(x, y);
        if here < 0.004 {
            return (hex(0x9a8fb0), 0.0);
        }
        let under = smooth(-0.02, 0.30, here - thick(x + (SUN.0 - x) * 0.012, y + 13.0));
        let near = (-((x - SUN.0) / 700.0).powi(2) - ((y - SUN.1) / 300.0).powi(2)).exp();
        let shade = mix(
            hex(0x6f7396),
            hex(0xb08a9c),
            smooth(0.0, 420.0, y) * 0.8 + 0.3 * near,
        );
        let lit = mix(hex(0xeba58f), hex(0xffd79c), near);
        // Thin cloud lets the light through, thick cloud keeps it.
        let colour = mix(shade, lit, under * 0.85 + 0.45 * near * (1.0 - here));
        (colour, 0.88 * here.powf(0.85))
    });
    canvas
}
