//! Sky, sun and sea: the far layer, which covers the whole frame.

use super::canvas::{Canvas, Colour, hex, layered, mix, noise, ramp, scale, smooth};
use super::{HORIZON, SUN};

/// The sky's colour without its islands, also what still water reflects.
pub(crate) fn sky(x: f32, y: f32) -> Colour {
    let up = ((HORIZON - y) / 520.0).clamp(0.0, 1.1);
    let base = ramp(
        &[
            (0.0, 0xf4bd8b),
            (0.13, 0xe9ab93),
            (0.32, 0xc39ba6),
            (0.6, 0x8392b4),
            (1.1, 0x46608b),
        ],
        up,
    );
    let (dx, dy) = (x - SUN.0, y - SUN.1);
    // Away from the sun the dawn is cooler.
    let away = smooth(200.0, 1500.0, dx.abs()) * (1.0 - up).max(0.0);
    let base = mix(base, hex(0x9a8fb0), 0.55 * away);
    let wide = (-(dx / 560.0).powi(2) - (dy / 200.0).powi(2)).exp();
    let near = (-dx.hypot(dy * 1.15) / 105.0).exp();
    let colour = mix(base, hex(0xffd596), 0.62 * wide);
    mix(colour, hex(0xfff0c4), 0.95 * near)
}

/// Streaks of water: near 1 on a crest that faces the light.
pub(crate) fn ripples(x: f32, y: f32, seed: u32) -> f32 {
    let below = (y - HORIZON).max(0.0);
    let v = 30.0 * (1.0 + below / 16.0).ln();
    let u = (x - 960.0) / (16.0 + 0.20 * below);
    layered(u, v, 3, seed)
}

/// The sea under the sky at a place below the horizon.
pub(crate) fn sea(x: f32, y: f32) -> Colour {
    let below = (y - HORIZON).max(0.0);
    let depth = below / 580.0;
    let streak = ripples(x, y, 40) - 0.5;
    let mirrored = sky(
        x,
        HORIZON - below * 0.62 - 6.0 - streak * 70.0 * (0.25 + depth),
    );
    let body = mix(hex(0x7d8098), hex(0x2b4059), smooth(0.0, 0.9, depth));
    let mut colour = mix(mirrored, body, 0.30 + 0.42 * smooth(0.0, 1.0, depth));
    colour = scale(colour, 1.0 + 0.22 * streak * smooth(0.0, 0.1, depth));
    let width = 26.0 + 0.26 * below;
    let path = (-((x - SUN.0) / width).powi(2)).exp();
    let spark = smooth(0.50, 0.68, ripples(x, y, 60));
    let strength = path * (0.22 + 0.75 * spark) * (-depth * 1.5).exp();
    mix(colour, hex(0xffdfa2), 0.95 * strength)
}

/// Height of the far islands above the horizon, pixels.
fn islands(x: f32) -> f32 {
    let hump = |centre: f32, half: f32, height: f32| {
        let t = ((x - centre) / half).abs();
        if t < 1.0 {
            height * (1.0 - t * t).powf(0.8) * (0.72 + 0.5 * layered(x / 34.0, 3.0, 3, 11))
        } else {
            0.0
        }
    };
    hump(1640.0, 250.0, 27.0)
        .max(hump(1800.0, 190.0, 42.0))
        .max(hump(1010.0, 130.0, 12.0))
}

pub(crate) fn paint() -> Canvas {
    let mut canvas = Canvas::new((-40, -22), (1960, 1102));
    canvas.wash(|x, y| {
        // Strokes of a broad, nearly dry brush.
        let stroke = layered(x / 150.0, y / 16.0, 3, 5) - 0.5;
        let grain = noise(x / 1.7, y / 1.7, 6) - 0.5;
        let mut colour = if y < HORIZON {
            let colour = sky(x, y + 24.0 * stroke);
            let radius = (x - SUN.0).hypot(y - SUN.1);
            mix(colour, hex(0xfffbe6), smooth(29.5, 26.5, radius))
        } else {
            sea(x, y)
        };
        let top = HORIZON - islands(x);
        if y < HORIZON + 1.0 {
            let land = mix(
                hex(0x8d88a6),
                hex(0xc79f9f),
                smooth(-40.0, 0.0, y - HORIZON),
            );
            let haze = (-((x - SUN.0) / 300.0).powi(2)).exp();
            let cover = smooth(top - 1.0, top + 1.0, y) * f32::from(top < HORIZON - 0.5);
            colour = mix(colour, mix(land, hex(0xf3c490), 0.7 * haze), 0.8 * cover);
        }
        // Mist along the horizon, where sea and sky meet softly.
        let mist = (-((y - HORIZON) / 9.0).powi(2)).exp();
        colour = mix(colour, sky(x, HORIZON - 8.0), 0.5 * mist);
        (scale(colour, 1.0 + 0.035 * stroke + 0.010 * grain), 1.0)
    });
    canvas
}
