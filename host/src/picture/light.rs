//! Between the numbers in a picture file and amounts of light.

use std::sync::LazyLock;

/// Light of an sRGB value from 0 to 1, 0 to 1 (IEC 61966-2-1).
pub(crate) fn from_srgb(value: f32) -> f32 {
    if value <= 0.04045 {
        value / 12.92
    } else {
        ((value + 0.055) / 1.055).powf(2.4)
    }
}

/// sRGB value from 0 to 1 of an amount of light from 0 to 1 (IEC 61966-2-1).
pub(crate) fn to_srgb(light: f32) -> f32 {
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

/// Light of every 16-bit sRGB value.
pub(crate) static LIGHT: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..=u16::MAX)
        .map(|value| from_srgb(f32::from(value) / 65535.0))
        .collect()
});

/// Nearest 8-bit sRGB value of every 16-bit amount of light. The steps of sRGB are at least 19 of
/// these wide, so the table costs no value of the 256.
static VALUE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    (0..=u16::MAX)
        .map(|light| (to_srgb(f32::from(light) / 65535.0) * 255.0 + 0.5) as u8)
        .collect()
});

/// A table from 16-bit light to 8-bit sRGB.
pub(crate) fn values() -> &'static [u8] {
    &VALUE
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1, from memory: the two branches meet at 0.04045, and value 0.5 is light 0.2140.
    #[test]
    fn srgb_is_the_standards() {
        assert!((from_srgb(0.5) - 0.21404).abs() < 1e-5);
        assert!((from_srgb(0.04045) - 0.003_130_8).abs() < 1e-6);
        for value in 0..=255_u16 {
            let light = (from_srgb(f32::from(value) / 255.0) * 65535.0 + 0.5) as usize;
            assert_eq!(u16::from(values()[light]), value);
        }
    }
}
