//! Reeds and grasses at the near edge of the bank: 4 m away.

use tiny_skia::{Path, PathBuilder};

use super::canvas::{Canvas, Chance, Colour, hex, mix, scale, smooth};

/// Row below every frame of the shot, where the stems stand.
const FOOT: f32 = 1112.0;

/// A stem or blade: where it stands, how high, how far its tip leans, how wide at the foot.
#[derive(Clone, Copy)]
struct Blade {
    foot: f32,
    high: f32,
    lean: f32,
    droop: f32,
    half: f32,
}

impl Blade {
    /// A place along it, `t` from 0 at the foot to 1 at the tip.
    fn at(&self, t: f32) -> (f32, f32) {
        (
            self.foot + self.lean * t.powf(1.9),
            FOOT - self.high * (t - self.droop * t.powi(5)),
        )
    }

    /// Across it, unit length, to the right of the way up.
    fn across(&self, t: f32) -> (f32, f32) {
        let (a, b) = (self.at((t - 0.01).max(0.0)), self.at((t + 0.01).min(1.0)));
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let long = dx.hypot(dy).max(1e-3);
        (-dy / long, dx / long)
    }

    /// Its outline between two shares of its width, -1 the left edge and 1 the right.
    fn outline(&self, from: f32, to: f32) -> Option<Path> {
        const PARTS: usize = 22;
        let mut path = PathBuilder::new();
        let edge = |t: f32, share: f32| {
            let ((x, y), (nx, ny)) = (self.at(t), self.across(t));
            let half =
                self.half * (1.0 - t.powf(2.2)).max(0.0) * (0.75 + 0.5 * t * (1.0 - t)) + 0.35;
            (x + nx * half * share, y + ny * half * share)
        };
        for part in 0..=PARTS {
            let (x, y) = edge(part as f32 / PARTS as f32, from);
            if part == 0 {
                path.move_to(x, y);
            } else {
                path.line_to(x, y);
            }
        }
        for part in (0..=PARTS).rev() {
            let (x, y) = edge(part as f32 / PARTS as f32, to);
            path.line_to(x, y);
        }
        path.close();
        path.finish()
    }
}

/// Which side the sun is on: it stands over the middle of the frame while the reeds go by.
fn sunward(x: f32) -> f32 {
    if x < 1430.0 { 1.0 } else { -1.0 }
}

fn blade(canvas: &mut Canvas, blade: Blade, tone: Colour, rim: f32) {
    let side = sunward(blade.foot);
    let up = |y: f32| ((FOOT - y) / blade.high.max(1.0)).clamp(0.0, 1.0);
    if let Some(path) = blade.outline(-1.0, 1.0) {
        canvas.fill(&path, |_, y| {
            // Thin toward the tip, where the light comes through.
            let colour = mix(
                scale(tone, 0.62),
                mix(tone, hex(0x9a6a45), 0.42),
                smooth(0.2, 1.0, up(y)),
            );
            (colour, 1.0)
        });
    }
    if let Some(path) = blade.outline(side * 0.42, side) {
        canvas.fill(&path, |_, y| {
            (hex(0xf0ac66), rim * smooth(0.22, 0.85, up(y)))
        });
    }
}

/// A seed head: short plumes along the last part of a stem, each hanging with the breeze.
fn plume(canvas: &mut Canvas, stem: &Blade, size: f32, tone: Colour, chance: &mut Chance) {
    let side = sunward(stem.foot);
    for tuft in 0..46 {
        let t = 0.80 + 0.20 * tuft as f32 / 45.0;
        let (x, y) = stem.at(t);
        let swell = ((t - 0.78) / 0.22 * std::f32::consts::PI).sin().max(0.0) + 0.18;
        let reach = size * swell * chance.between(0.45, 1.0);
        let out = chance.between(-0.75, 1.0) * reach * 0.62;
        let drop = chance.between(-0.9, 0.25) * reach;
        let fat = size * chance.between(0.045, 0.085);
        let mut path = PathBuilder::new();
        path.move_to(x, y);
        path.quad_to(x + out * 0.6 - fat, y + drop * 0.3, x + out, y + drop);
        path.quad_to(x + out * 0.6 + fat, y + drop * 0.5 + fat, x, y + fat);
        path.close();
        let lit = smooth(-0.4, 0.9, out * side / size) * chance.between(0.35, 1.0);
        let colour = mix(mix(tone, hex(0x6a4630), 0.65), hex(0xf3b26c), lit);
        if let Some(path) = path.finish() {
            canvas.fill(&path, |_, _| (colour, 0.92));
        }
    }
}

/// How high the growth stands at a column: high at both ends of the travel, low in between.
fn growth(x: f32) -> f32 {
    let hump = |centre: f32, half: f32| (-((x - centre) / half).powi(2)).exp();
    150.0
        + 640.0 * hump(30.0, 230.0)
        + 250.0 * hump(1240.0, 110.0)
        + 90.0 * hump(760.0, 120.0)
        + 610.0 * hump(2190.0, 210.0)
}

pub(crate) fn paint() -> Canvas {
    let mut canvas = Canvas::new((-30, 90), (2310, 1100));
    let mut chance = Chance::new(2024);
    // From the back to the front: fewer, darker, sharper.
    let ranks = [
        (520, hex(0x5d4d52), 0.35, 0.80),
        (420, hex(0x3d363b), 0.50, 0.92),
        (330, hex(0x25262a), 0.75, 1.00),
    ];
    for (count, tone, rim, tall) in ranks {
        for _ in 0..count {
            let foot = chance.between(-120.0, 2420.0);
            let room = growth(foot) * tall;
            let high = room * chance.between(0.34, 1.02);
            // Many where growth is high, few between.
            if chance.between(0.0, 1.0) > 0.30 + room / 520.0 {
                continue;
            }
            let breeze = chance.between(0.05, 0.34)
                + if chance.between(0.0, 1.0) < 0.22 {
                    -0.42
                } else {
                    0.0
                };
            let stem = Blade {
                foot,
                high,
                lean: high * breeze,
                droop: chance.between(0.0, 0.20),
                half: chance.between(2.2, 5.2) * (0.55 + high / 900.0),
            };
            blade(&mut canvas, stem, tone, rim * chance.between(0.5, 1.0));
        }
        for _ in 0..count / 5 {
            let foot = chance.between(-120.0, 2420.0);
            let room = growth(foot) * tall;
            if room < 260.0 || chance.between(0.0, 1.0) > 0.25 + room / 620.0 {
                continue;
            }
            let high = room * chance.between(0.82, 1.16);
            let stem = Blade {
                foot,
                high: high.min(960.0),
                lean: high * chance.between(0.04, 0.16),
                droop: 0.03,
                half: chance.between(1.6, 2.6),
            };
            blade(&mut canvas, stem, tone, rim);
            plume(
                &mut canvas,
                &stem,
                26.0 + 38.0 * high / 800.0,
                tone,
                &mut chance,
            );
        }
    }
    canvas
}
