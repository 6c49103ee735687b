//! Chance that repeats itself: the same seed draws the same numbers on every machine.

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014).
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// From a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From 0 up to, but not including, 1.
    pub fn fraction(&mut self) -> f64 {
        // The upper 53 bits: as many as an f64 holds exactly.
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// From the first up to the second.
    pub fn between(&mut self, least: f64, greatest: f64) -> f64 {
        least + (greatest - least) * self.fraction()
    }

    /// A part of `whole` between the two fractions.
    pub fn part(&mut self, whole: u64, least: f64, greatest: f64) -> u64 {
        (whole as f64 * self.between(least, greatest)) as u64
    }

    /// Whether something of this probability happens.
    pub fn chance(&mut self, probability: f64) -> bool {
        probability > 0.0 && self.fraction() < probability
    }
}

#[cfg(test)]
mod tests {
    use super::Random;

    #[test]
    fn draws_what_the_published_generator_draws() {
        // First outputs for seed 1234567, as published on Rosetta Code, "Pseudo-random
        // numbers/Splitmix64" (values from memory).
        let mut random = Random::new(1_234_567);
        let drawn = [(); 5].map(|()| random.next());
        assert_eq!(
            drawn,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423,
                4_593_380_528_125_082_431,
                16_408_922_859_458_223_821,
            ]
        );
    }
}
