//! Moored skiffs, their posts, and the mud bank in front of them: 20 m away.

use tiny_skia::{Path, PathBuilder, Stroke};

use super::SUN;
use super::canvas::{Canvas, Colour, hex, layered, mix, noise, scale, smooth};
use super::sky::{ripples, sky};

/// A skiff seen nearly from the side, riding at anchor.
struct Skiff {
    /// Middle of the hull at the water.
    at: (f32, f32),
    /// Half its length; the bow points to the left where it is negative.
    half: f32,
    /// Trim, rise of the bow for each pixel of length.
    trim: f32,
    paint: u32,
    mast: bool,
}

const SKIFFS: [Skiff; 3] = [
    Skiff {
        at: (1452.0, 742.0),
        half: 205.0,
        trim: 0.02,
        paint: 0x2d3a4a,
        mast: true,
    },
    Skiff {
        at: (905.0, 668.0),
        half: -112.0,
        trim: 0.012,
        paint: 0x4b3840,
        mast: false,
    },
    Skiff {
        at: (1835.0, 660.0),
        half: -96.0,
        trim: 0.015,
        paint: 0x3b4350,
        mast: true,
    },
];

/// Mooring posts: foot, height, half width.
const POSTS: [(f32, f32, f32, f32); 6] = [
    (1092.0, 752.0, 150.0, 7.5),
    (1148.0, 764.0, 112.0, 8.0),
    (1742.0, 726.0, 128.0, 7.0),
    (742.0, 670.0, 72.0, 4.2),
    (612.0, 661.0, 60.0, 3.6),
    (500.0, 654.0, 52.0, 3.2),
];

impl Skiff {
    /// From the boat's own measures (bow at 1, stern at -1, height in half lengths) to the frame;
    /// `side` is 1 for the boat and -1 for its image in the water.
    fn place(&self, along: f32, up: f32, side: f32) -> (f32, f32) {
        let rise = up * self.half.abs() + self.trim * along * self.half.abs();
        (self.at.0 + along * self.half, self.at.1 - side * rise)
    }

    fn outline(&self, side: f32, curve: &[(f32, f32)]) -> Option<Path> {
        // Start, then cubics of three points each.
        let mut path = PathBuilder::new();
        let points: Vec<_> = curve
            .iter()
            .map(|(a, u)| self.place(*a, *u, side))
            .collect();
        path.move_to(points[0].0, points[0].1);
        for three in points[1..].chunks_exact(3) {
            path.cubic_to(
                three[0].0, three[0].1, three[1].0, three[1].1, three[2].0, three[2].1,
            );
        }
        path.close();
        path.finish()
    }

    fn hull(&self, side: f32) -> Option<Path> {
        self.outline(
            side,
            &[
                (-0.95, 0.20),
                (-0.45, 0.135),
                (0.35, 0.14),
                (1.04, 0.37),
                (1.0, 0.24),
                (0.93, 0.10),
                (0.83, -0.02),
                (0.4, -0.035),
                (-0.5, -0.03),
                (-0.86, -0.02),
                (-0.89, 0.04),
                (-0.93, 0.12),
                (-0.95, 0.20),
            ],
        )
    }

    /// The far gunwale and the inside, seen over the near one.
    fn inside(&self, side: f32) -> Option<Path> {
        self.outline(
            side,
            &[
                (-0.95, 0.20),
                (-0.45, 0.135),
                (0.35, 0.14),
                (1.04, 0.37),
                (0.5, 0.255),
                (-0.3, 0.215),
                (-0.90, 0.245),
                (-0.92, 0.24),
                (-0.94, 0.22),
                (-0.95, 0.20),
            ],
        )
    }

    /// A thin band along the near gunwale.
    fn gunwale(&self, side: f32, thick: f32) -> Option<Path> {
        self.outline(
            side,
            &[
                (-0.96, 0.205),
                (-0.45, 0.14),
                (0.35, 0.145),
                (1.05, 0.375),
                (1.05, 0.37),
                (1.045, 0.36),
                (1.035, 0.372 - thick),
                (0.35, 0.145 - thick),
                (-0.45, 0.14 - thick),
                (-0.955, 0.205 - thick),
                (-0.96, 0.20),
                (-0.96, 0.205),
                (-0.96, 0.205),
            ],
        )
    }

    fn draw(&self, canvas: &mut Canvas, side: f32) {
        let image = side < 0.0;
        let (x0, water) = self.at;
        let long = self.half.abs();
        let fade = move |y: f32| {
            if image {
                0.86 * (-(y - water).max(0.0) / (0.62 * long)).exp()
            } else {
                1.0
            }
        };
        let broken = move |x: f32, y: f32| {
            if image {
                0.35 + 1.0 * smooth(0.25, 0.6, ripples(x, y, 45))
            } else {
                1.0
            }
        };
        // Water mirrors what is seen from below: never the inside.
        let inside = if image { None } else { self.inside(side) };
        if let Some(path) = inside {
            canvas.fill(&path, |x, y| {
                let plank = smooth(0.4, 0.6, noise(x / (0.16 * long), 0.5, 46));
                let toward = smooth(-1.0, 1.0, (SUN.0 - x) / 700.0);
                let colour = mix(hex(0x3f3236), hex(0x8f6650), 0.25 * plank + 0.45 * toward);
                (colour, fade(y) * broken(x, y))
            });
        }
        if self.mast {
            self.rig(canvas, side, &fade, &broken);
        }
        if let Some(path) = self.hull(side) {
            let paint = hex(self.paint);
            canvas.fill(&path, |x, y| {
                let up = ((water - y) * side / (0.3 * long)).clamp(0.0, 1.0);
                let along = (x - x0) / self.half;
                let lands = (up * 5.0 - 0.5 * along * along).fract();
                let mut colour = scale(
                    mix(scale(paint, 0.55), paint, up),
                    1.0 - 0.18 * smooth(0.86, 0.98, lands),
                );
                let wear = layered(x / 26.0, y / 5.0, 3, 47) - 0.5;
                colour = scale(colour, 1.0 + 0.25 * wear);
                // Light off the water on the planks, and the sun along the end that faces it.
                colour = mix(colour, hex(0xc98f70), 0.16 * smooth(0.35, 0.0, up));
                let end = ((SUN.0 - x) * self.half.signum() * along.signum() / long).max(0.0);
                colour = mix(
                    colour,
                    hex(0xd8976c),
                    (0.5 * end * along.abs().powi(3)).min(0.5),
                );
                // Weed and wet along the waterline.
                colour = mix(colour, hex(0x1c2326), 0.7 * smooth(0.12, 0.02, up));
                (colour, fade(y) * broken(x, y))
            });
        }
        let glint = if image { 0.45 } else { 1.0 };
        if let Some(path) = self.gunwale(side, 0.022) {
            canvas.fill(&path, |x, y| {
                let near = (-((x - SUN.0) / 420.0).powi(2)).exp();
                (
                    mix(hex(0xa5735a), hex(0xffd08e), 0.35 + 0.65 * near),
                    glint * fade(y) * broken(x, y),
                )
            });
        }
    }

    /// Mast, furled sail along it, a stay, and a pair of oars laid over the thwarts.
    fn rig(
        &self,
        canvas: &mut Canvas,
        side: f32,
        fade: &impl Fn(f32) -> f32,
        broken: &impl Fn(f32, f32) -> f32,
    ) {
        let toward = (SUN.0 - self.at.0).signum();
        let lean = 0.02;
        let mut spar = |points: [(f32, f32); 2], widths: [f32; 2], shade: u32, lit: u32| {
            let (a, b) = (
                self.place(points[0].0, points[0].1, side),
                self.place(points[1].0, points[1].1, side),
            );
            if let Some(path) = taper(a, b, widths[0], widths[1]) {
                canvas.fill(&path, |x, y| {
                    let t = (y - a.1) / (b.1 - a.1);
                    let middle = a.0 + (b.0 - a.0) * t;
                    let half = widths[0] + (widths[1] - widths[0]) * t;
                    let round = smooth(-0.2, 1.0, (x - middle) / half * toward);
                    (mix(hex(shade), hex(lit), round), fade(y) * broken(x, y))
                });
            }
        };
        let thick = self.half.abs() / 205.0;
        spar(
            [(0.22, 0.15), (0.22 - lean, 1.28)],
            [4.4 * thick, 2.4 * thick],
            0x33292b,
            0xd99a6c,
        );
        // The sail is rolled round its yard, which leans on the mast.
        spar(
            [(0.17, 0.30), (0.235, 0.74)],
            [7.5 * thick, 12.0 * thick],
            0x6d5a5c,
            0xe7b48f,
        );
        spar(
            [(0.235, 0.74), (0.25, 1.12)],
            [12.0 * thick, 3.0 * thick],
            0x6d5a5c,
            0xe7b48f,
        );
        let top = self.place(0.22 - lean, 1.25, side);
        for end in [self.place(1.02, 0.36, side), self.place(-0.9, 0.2, side)] {
            line(canvas, &[top, end], 1.3 * thick.max(0.7), |x, y| {
                (hex(0x4a3c3e), 0.85 * fade(y) * broken(x, y))
            });
        }
        line(
            canvas,
            &[self.place(-0.72, 0.25, side), self.place(0.12, 0.17, side)],
            4.0 * thick,
            |x, y| (hex(0x9b7355), fade(y) * broken(x, y)),
        );
    }
}

/// A spar from `a` to `b`, of half widths.
fn taper(a: (f32, f32), b: (f32, f32), from: f32, to: f32) -> Option<Path> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let long = dx.hypot(dy).max(1e-3);
    let (nx, ny) = (-dy / long, dx / long);
    let mut path = PathBuilder::new();
    path.move_to(a.0 + nx * from, a.1 + ny * from);
    path.line_to(b.0 + nx * to, b.1 + ny * to);
    path.line_to(b.0 - nx * to, b.1 - ny * to);
    path.line_to(a.0 - nx * from, a.1 - ny * from);
    path.close();
    path.finish()
}

/// A rope: through two points straight, or three points as a curve.
fn line(
    canvas: &mut Canvas,
    points: &[(f32, f32)],
    width: f32,
    shade: impl Fn(f32, f32) -> (Colour, f32),
) {
    let mut path = PathBuilder::new();
    path.move_to(points[0].0, points[0].1);
    match points {
        [_, by, to] => path.quad_to(by.0, by.1, to.0, to.1),
        _ => path.line_to(points[1].0, points[1].1),
    }
    let stroke = Stroke {
        width,
        ..Stroke::default()
    };
    if let Some(path) = path.finish().and_then(|path| path.stroke(&stroke, 1.0)) {
        canvas.fill(&path, shade);
    }
}

fn post(canvas: &mut Canvas, (x, foot, high, half): (f32, f32, f32, f32)) {
    let toward = (SUN.0 - x).signum();
    let lean = 0.05 * (noise(x, 3.0, 48) - 0.5) * high;
    // Its image first.
    for (side, opacity) in [(-1.0, 0.6), (1.0, 1.0)] {
        let head = (x + lean, foot - side * high);
        if let Some(path) = taper((x, foot + 2.0 * side), head, half, half * 0.82) {
            canvas.fill(&path, |px, py| {
                let t = ((foot - py) * side / high).clamp(0.0, 1.0);
                let round = (px - (x + lean * t)) / half * toward;
                let grain = layered(px / 2.2, py / 34.0, 3, 49) - 0.5;
                let mut colour = mix(hex(0x2b2529), hex(0x4d3d3c), smooth(-1.0, 0.6, round));
                colour = mix(colour, hex(0xf0b078), smooth(0.35, 1.0, round) * 0.9);
                colour = scale(colour, 1.0 + 0.4 * grain);
                // Weed up to where the tide stood.
                colour = mix(
                    colour,
                    hex(0x232b26),
                    0.8 * smooth(0.46, 0.36, t + 0.1 * grain),
                );
                let far = (foot - py).abs();
                let shown = if side < 0.0 {
                    (-far / (0.9 * high)).exp() * (0.3 + smooth(0.25, 0.6, ripples(px, py, 45)))
                } else {
                    1.0
                };
                (colour, opacity * shown)
            });
        }
    }
    // A ring of wet light where it meets the water.
    canvas.wash_near((x, foot + 1.5), (half * 2.2, 2.2), |far| {
        (hex(0xf7cf9f), 0.45 * smooth(1.0, 0.3, far))
    });
}

/// Upper edge of the bank, where the water ends.
fn shore(x: f32) -> f32 {
    905.0 - 84.0 * smooth(760.0, -40.0, x) + 34.0 * smooth(900.0, 1400.0, x)
        - 46.0 * smooth(1500.0, 2040.0, x)
        + 26.0 * (layered(x / 170.0, 6.0, 3, 50) - 0.5)
}

fn bank(x: f32, y: f32) -> (Colour, f32) {
    let inland = y - shore(x);
    if inland < -4.0 {
        return (hex(0), 0.0);
    }
    let near = smooth(830.0, 1090.0, y);
    let relief = layered(x / (26.0 + 40.0 * near), y / (4.0 + 9.0 * near), 5, 51) - 0.5;
    let mut colour = mix(hex(0x66565c), hex(0x2c2831), 0.25 + 0.75 * near);
    colour = scale(colour, 1.0 + 0.55 * relief);
    let toward = (-((x - SUN.0) / 560.0).powi(2)).exp();
    // Ripple marks with their wet sides to the light.
    let shine = mix(hex(0xb58c86), hex(0xffcd94), toward);
    colour = mix(
        colour,
        shine,
        (0.20 + 0.50 * toward) * smooth(0.02, 0.26, relief) * (1.0 - 0.5 * near),
    );
    // Pools left behind.
    let lay = layered(x / 210.0, y / 21.0, 4, 53);
    let pool = smooth(0.535, 0.56, lay) * smooth(4.0, 16.0, inland);
    let depth = smooth(0.55, 0.7, lay);
    let mirror = mix(
        sky(x, 470.0 - 420.0 * near),
        hex(0x4f5a74),
        0.22 + 0.25 * depth,
    );
    let streak = ripples(x, y, 54) - 0.5;
    colour = mix(colour, scale(mirror, 1.0 + 0.10 * streak), 0.94 * pool);
    let lip = smooth(0.505, 0.535, lay) * (1.0 - pool) * smooth(4.0, 16.0, inland);
    colour = mix(colour, hex(0x1f1c25), 0.55 * lip);
    // A last thin film of water runs off at the edge.
    let film = smooth(26.0, 2.0, inland + 10.0 * relief);
    colour = mix(colour, mix(sky(x, 440.0), hex(0x6d6a7c), 0.35), 0.72 * film);
    (colour, smooth(-3.0, 5.0, inland + 14.0 * relief))
}

pub(crate) fn paint() -> Canvas {
    let mut canvas = Canvas::new((-30, 440), (2030, 1100));
    // The near water is darker where it shoals, so that the bank does not lie on top of it.
    canvas.wash(|x, y| {
        let shoal = smooth(-190.0, 0.0, y - shore(x));
        let streak = smooth(0.35, 0.65, ripples(x, y, 55));
        let colour = mix(hex(0x4a4a60), hex(0xc99a86), 0.35 * streak);
        (colour, 0.42 * shoal * (0.5 + 0.5 * streak))
    });
    for skiff in SKIFFS.iter().rev() {
        skiff.draw(&mut canvas, -1.0);
    }
    for foot in POSTS {
        post(&mut canvas, foot);
    }
    for skiff in SKIFFS.iter().rev() {
        // The hull's own dark on the water beneath it.
        let long = skiff.half.abs();
        canvas.wash_near(
            (skiff.at.0, skiff.at.1 + 3.0),
            (long * 0.92, 0.05 * long),
            |far| (hex(0x1d2029), 0.6 * smooth(1.0, 0.5, far)),
        );
        skiff.draw(&mut canvas, 1.0);
    }
    let rope = |x: f32, y: f32| {
        (
            mix(
                hex(0x3a2e2e),
                hex(0xe0a878),
                0.5 * noise(x / 3.0, y / 3.0, 56),
            ),
            0.9,
        )
    };
    line(
        &mut canvas,
        &[
            SKIFFS[0].place(-0.94, 0.2, 1.0),
            (1205.0, 742.0),
            (1148.0, 690.0),
        ],
        2.2,
        rope,
    );
    line(
        &mut canvas,
        &[
            SKIFFS[0].place(1.0, 0.34, 1.0),
            (1705.0, 704.0),
            (1742.0, 632.0),
        ],
        2.0,
        rope,
    );
    line(
        &mut canvas,
        &[
            SKIFFS[1].place(1.0, 0.34, 1.0),
            (770.0, 650.0),
            (742.0, 620.0),
        ],
        1.4,
        rope,
    );
    canvas.wash(bank);
    canvas
}
