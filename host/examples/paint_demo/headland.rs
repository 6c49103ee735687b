//! A cliff with a small light, rocks, a spit of wet sand and its pools: 150 m away.

use tiny_skia::{Path, PathBuilder};

use super::HORIZON;
use super::canvas::{Canvas, Colour, hex, layered, mix, scale, smooth};
use super::sky::{ripples, sky};

/// Row of the water's edge at the foot of the cliff.
const WATER: f32 = 531.0;

/// Top of the land at a column.
fn top(x: f32) -> f32 {
    let points: [(f32, f32); 12] = [
        (-40.0, 322.0),
        (120.0, 316.0),
        (300.0, 338.0),
        (470.0, 352.0),
        (600.0, 356.0),
        (690.0, 362.0),
        (722.0, 388.0),
        (742.0, 442.0),
        (775.0, 470.0),
        (800.0, 506.0),
        (850.0, 519.0),
        (905.0, WATER + 4.0),
    ];
    let rough = (layered(x / 26.0, 1.0, 4, 71) - 0.5) * 20.0 * smooth(560.0, 720.0, x)
        + (layered(x / 60.0, 2.0, 3, 72) - 0.5) * 12.0;
    for pair in points.windows(2) {
        let ((from, a), (to, b)) = (pair[0], pair[1]);
        if x <= to {
            return a + (b - a) * smooth(from, to, x) + rough * smooth(912.0, 860.0, x);
        }
    }
    // Two stacks that the sea has cut off.
    let stack = |centre: f32, half: f32, height: f32| {
        let t = ((x - centre) / half).abs().min(1.0);
        (1.0 - t.powi(3)) * height * (0.75 + 0.5 * layered(x / 9.0, 4.0, 2, 73))
    };
    WATER + 4.0 - stack(962.0, 20.0, 34.0).max(stack(1004.0, 13.0, 17.0))
}

fn stone(x: f32, y: f32) -> Colour {
    let edge = top(x);
    let down = ((y - edge) / (WATER - edge).max(20.0)).clamp(0.0, 1.0);
    // Facets: which way the face turns decides how much of the dawn it gets.
    let warp = layered(x / 70.0, y / 90.0, 3, 81) - 0.5;
    let face = |x: f32| layered(x / 46.0 + 0.7 * warp, y / 62.0 + x / 160.0, 5, 82);
    let turned = (face(x - 4.0) - face(x + 4.0)) * 2.0;
    let strata = layered(x / 240.0, (y + x * 0.10) / 7.0, 3, 83) - 0.5;
    let grass = smooth(
        30.0,
        6.0,
        y - edge + 26.0 * (layered(x / 20.0, y / 20.0, 2, 84) - 0.5),
    );
    let mut colour = mix(hex(0x4d4c66), hex(0x6d6076), down);
    colour = mix(colour, hex(0x4c5560), 0.75 * grass);
    colour = scale(colour, 1.0 + 0.22 * strata);
    colour = mix(colour, hex(0xc48f82), (turned - 0.05).clamp(0.0, 0.42));
    colour = mix(colour, hex(0x34384f), (-turned - 0.03).clamp(0.0, 0.5));
    // The east end looks into the sun.
    colour = mix(colour, hex(0xd69a84), 0.34 * smooth(640.0, 800.0, x));
    let rim = smooth(4.5, 0.5, y - edge) * smooth(150.0, 750.0, x);
    colour = mix(colour, hex(0xf5c093), 0.6 * rim);
    // Haze lies on the water.
    mix(colour, hex(0xbf9c9f), 0.16 + 0.34 * smooth(0.55, 1.0, down))
}

fn quad(points: &[(f32, f32)]) -> Option<Path> {
    let mut path = PathBuilder::new();
    for (index, (x, y)) in points.iter().enumerate() {
        if index == 0 {
            path.move_to(*x, *y);
        } else {
            path.line_to(*x, *y);
        }
    }
    path.close();
    path.finish()
}

/// Walls that the sun reaches from the right.
fn wall(canvas: &mut Canvas, points: &[(f32, f32)], shade: u32, lit: u32) {
    let left = points.iter().map(|p| p.0).fold(f32::MAX, f32::min);
    let right = points.iter().map(|p| p.0).fold(f32::MIN, f32::max);
    if let Some(path) = quad(points) {
        canvas.fill(&path, |x, y| {
            let round = ((x - left) / (right - left)).clamp(0.0, 1.0);
            let wear = 1.0 + 0.10 * (layered(x / 5.0, y / 9.0, 2, 90) - 0.5);
            (
                scale(mix(hex(shade), hex(lit), smooth(0.25, 0.95, round)), wear),
                1.0,
            )
        });
    }
}

fn lighthouse(canvas: &mut Canvas, x: f32, foot: f32) {
    // The keeper's house, and its roof.
    wall(
        canvas,
        &[
            (x - 66.0, foot + 8.0),
            (x - 66.0, foot - 20.0),
            (x - 18.0, foot - 20.0),
            (x - 18.0, foot + 8.0),
        ],
        0x75738c,
        0xc3a8a6,
    );
    wall(
        canvas,
        &[
            (x - 71.0, foot - 19.0),
            (x - 60.0, foot - 37.0),
            (x - 24.0, foot - 37.0),
            (x - 13.0, foot - 19.0),
        ],
        0x4c4b62,
        0x8f6f78,
    );
    wall(
        canvas,
        &[
            (x - 54.0, foot - 35.0),
            (x - 54.0, foot - 45.0),
            (x - 48.0, foot - 45.0),
            (x - 48.0, foot - 35.0),
        ],
        0x55536a,
        0x9a7b80,
    );
    wall(
        canvas,
        &[
            (x - 47.0, foot - 5.0),
            (x - 47.0, foot - 13.0),
            (x - 40.0, foot - 13.0),
            (x - 40.0, foot - 5.0),
        ],
        0xf2b572,
        0xffd894,
    );
    // Tower, band, gallery, lantern, roof.
    wall(
        canvas,
        &[
            (x - 14.0, foot + 10.0),
            (x - 8.5, foot - 98.0),
            (x + 8.5, foot - 98.0),
            (x + 14.0, foot + 10.0),
        ],
        0x817e97,
        0xf3d8c2,
    );
    wall(
        canvas,
        &[
            (x - 11.9, foot - 32.0),
            (x - 10.6, foot - 58.0),
            (x + 10.6, foot - 58.0),
            (x + 11.9, foot - 32.0),
        ],
        0x41506b,
        0x88808c,
    );
    wall(
        canvas,
        &[
            (x - 13.0, foot - 97.0),
            (x - 13.0, foot - 102.0),
            (x + 13.0, foot - 102.0),
            (x + 13.0, foot - 97.0),
        ],
        0x48475e,
        0x8d7a82,
    );
    wall(
        canvas,
        &[
            (x - 7.0, foot - 102.0),
            (x - 7.0, foot - 117.0),
            (x + 7.0, foot - 117.0),
            (x + 7.0, foot - 102.0),
        ],
        0xf5cf8c,
        0xfff0c0,
    );
    for bar in [-7.0, -2.5, 2.0, 6.0] {
        wall(
            canvas,
            &[
                (x + bar, foot - 102.0),
                (x + bar, foot - 117.0),
                (x + bar + 1.2, foot - 117.0),
                (x + bar + 1.2, foot - 102.0),
            ],
            0x4a495f,
            0x6d6374,
        );
    }
    wall(
        canvas,
        &[
            (x - 9.5, foot - 116.0),
            (x - 4.0, foot - 125.0),
            (x, foot - 131.0),
            (x + 4.0, foot - 125.0),
            (x + 9.5, foot - 116.0),
        ],
        0x45445b,
        0x8a727b,
    );
    let lamp = (x, foot - 109.5);
    canvas.wash(|x, y| {
        let far = (x - lamp.0).hypot(y - lamp.1);
        (
            hex(0xffe0a0),
            0.5 * (-far / 13.0).exp() * smooth(70.0, 40.0, far),
        )
    });
}

/// How much of a place is sand, 0 to 1: a spit from the left that the tide has just left.
fn sand(x: f32, y: f32) -> f32 {
    let out = smooth(1290.0, 200.0, x);
    let wave = (layered(x / 120.0, y / 22.0, 4, 95) - 0.5) * 46.0 * (0.25 + out);
    let upper = WATER + 14.0 + 34.0 * smooth(200.0, 1200.0, x) + wave * 0.4;
    let lower = WATER + 56.0 + 66.0 * out + wave;
    smooth(-1.0, 3.0, y - upper) * smooth(-1.0, 4.0, lower - y) * smooth(1240.0, 1180.0, x)
}

/// How much of a place is a pool standing in the sand.
fn pool(x: f32, y: f32) -> f32 {
    let n = layered(x / 95.0, y / 9.0, 4, 97);
    smooth(0.545, 0.58, n)
}

/// The light of the lantern as it flashes: a bright heart, its glow, and two beams that fade.
fn flash(canvas: &mut Canvas, x: f32, foot: f32) {
    let lamp = (x, foot - 109.5);
    canvas.wash(|x, y| {
        let (east, south) = (x - lamp.0, y - lamp.1);
        let far = east.hypot(south);
        // A beam widens as it goes.
        let beam = (-(south / (3.0 + east.abs() * 0.045)).powi(2)).exp()
            * (-east.abs() / 210.0).exp()
            * smooth(640.0, 420.0, east.abs());
        let glow = (-far / 30.0).exp() * smooth(150.0, 90.0, far);
        let heart = smooth(11.0, 4.0, far);
        // Nothing reaches the upper edge of the drawing, where it would be seen to end.
        let inside = smooth(192.0, 222.0, y);
        let colour = mix(hex(0xffd98c), hex(0xfffbe8), heart.max(glow));
        (colour, inside * (0.55 * beam + 0.8 * glow + heart).min(1.0))
    });
}

/// The headland; with the lantern's flash, or between two.
pub(crate) fn paint(flashes: bool) -> Canvas {
    let mut canvas = Canvas::new((-20, 190), (1996, 720));
    let foot = top(655.0);
    // What the water mirrors of the land, broken by ripples and lost with distance.
    canvas.wash(|x, y| {
        if y < WATER {
            return (hex(0), 0.0);
        }
        let below = y - WATER;
        let wobble = (ripples(x, y, 41) - 0.5) * (4.0 + below * 0.5);
        let mirrored = WATER - below + wobble;
        let tower = (x + wobble - 655.0).abs() < 13.0 && mirrored > foot - 125.0;
        let covered = smooth(-2.0, 2.0, mirrored - top(x + wobble)).max(f32::from(tower));
        let broken = 0.65 + 0.5 * (ripples(x, y, 42) - 0.5);
        let colour = mix(stone(x, mirrored.max(top(x))), hex(0x57596f), 0.55);
        (
            colour,
            covered * broken * (-below / 85.0).exp() * smooth(180.0, 90.0, below),
        )
    });
    canvas.wash(|x, y| {
        let covered = smooth(-0.7, 0.7, y - top(x)) * smooth(0.8, -0.8, y - WATER);
        let covered = covered * f32::from(top(x) < WATER);
        (stone(x, y), covered)
    });
    lighthouse(&mut canvas, 655.0, foot);
    if flashes {
        flash(&mut canvas, 655.0, foot);
    }
    // Surf along the foot.
    canvas.wash(|x, y| {
        let ends = smooth(1040.0, 960.0, x);
        let line = (-((y - WATER - 1.0 - 3.0 * (layered(x / 40.0, 0.0, 2, 98) - 0.5)) / 1.8)
            .powi(2))
        .exp();
        let broken = smooth(0.35, 0.7, layered(x / 18.0, y / 3.0, 3, 99));
        (hex(0xf6d6bd), 0.75 * line * broken * ends)
    });
    canvas.wash(|x, y| {
        let covered = sand(x, y);
        if covered <= 0.0 {
            return (hex(0), 0.0);
        }
        let near = smooth(WATER, 660.0, y);
        let relief = layered(x / 34.0, y / 4.0, 4, 96) - 0.5;
        let dry = mix(hex(0xa58a86), hex(0x6e6069), 0.35 + 0.65 * near);
        let shine = mix(sky(x, HORIZON - 40.0), hex(0xf4c59c), 0.3);
        let mut colour = scale(dry, 1.0 + 0.34 * relief);
        // Wet sand shines toward the sun.
        let toward = (-((x - 1240.0) / 620.0).powi(2)).exp();
        colour = mix(
            colour,
            shine,
            (0.16 + 0.5 * toward) * smooth(-0.1, 0.25, relief),
        );
        let water = pool(x, y);
        let still = mix(sky(x, HORIZON - 120.0 - 90.0 * near), hex(0x8b8fa8), 0.12);
        colour = mix(colour, still, 0.92 * water);
        let lip = smooth(0.53, 0.545, layered(x / 95.0, (y + 1.6) / 9.0, 4, 97)) * (1.0 - water);
        colour = mix(colour, hex(0x54495a), 0.5 * lip);
        (colour, covered * 0.97)
    });
    canvas
}
