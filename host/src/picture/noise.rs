//! A sensor's noise: no two photographs of the same thing are the same, dot for dot.

use image::RgbImage;

/// Every so many-th dot is a level off in one colour, on average.
const RARITY: u64 = 256;

/// Puts noise into a photograph: far too little to see, another for every `exposure`, and the same
/// for the same one.
pub fn add_noise(picture: &mut RgbImage, exposure: u64) {
    let dots: &mut [u8] = picture;
    let mut state = exposure;
    let mut at = 0;
    loop {
        let chance = mixed(&mut state);
        at += 1 + (chance % (2 * RARITY - 1)) as usize * 3 + (chance >> 32) as usize % 3;
        let Some(level) = dots.get_mut(at) else {
            return;
        };
        // Toward the middle, so that it is always another level.
        *level = if *level < 128 { *level + 1 } else { *level - 1 };
    }
}

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood: "Fast splittable pseudorandom number
/// generators", OOPSLA 2014).
fn mixed(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first numbers from seed 1234567, as the generator's reference implementation gives them
    /// (Rosetta Code, "Pseudo-random numbers/Splitmix64"; from memory).
    #[test]
    fn the_generator_is_the_published_one() {
        let mut state = 1_234_567;
        assert_eq!(mixed(&mut state), 6_457_827_717_110_365_317);
        assert_eq!(mixed(&mut state), 3_203_168_211_198_807_973);
    }

    #[test]
    fn noise_is_slight_rare_and_another_for_every_exposure() {
        let plain = RgbImage::from_fn(200, 100, |x, y| image::Rgb([x as u8, y as u8, 255]));
        let exposed = |exposure| {
            let mut picture = plain.clone();
            add_noise(&mut picture, exposure);
            picture
        };
        for exposure in 0..50 {
            let (one, next) = (exposed(exposure), exposed(exposure + 1));
            assert_eq!(one, exposed(exposure));
            assert_ne!(one, next);
            let off = std::iter::zip(one.as_raw(), plain.as_raw());
            let changed = off.clone().filter(|(a, b)| a != b).count();
            assert!(off.clone().all(|(a, b)| a.abs_diff(*b) <= 1));
            // 20 000 dots.
            assert!((40..130).contains(&changed), "{exposure}: {changed}");
        }
    }
}
