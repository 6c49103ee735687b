//! Looping animations: how long they last, and what they hold.

use std::ops::ControlFlow;

use image::{Rgb, RgbImage};
use panestep::picture::animation::{self, Pictures};

use crate::{Place, picture};

#[test]
fn animations_have_a_picture_for_each_frame_and_last_as_long() {
    let place = Place::new(60, "", "", "");
    place.shows(&["--all", "--width", "48", "--out", "tide.gif"]);
    let file = std::fs::File::open(place.path("tide.gif")).unwrap();
    let mut decoder = gif::DecodeOptions::new().read_info(file).unwrap();
    let mut delays = Vec::new();
    while let Some(frame) = decoder.read_next_frame().unwrap() {
        delays.push(u32::from(frame.delay));
    }
    assert_eq!((delays.len(), delays.iter().sum::<u32>()), (60, 250));
    place.shows(&["--frames", "1-20", "--width", "48", "--out", "tide.apng"]);
    place.shows(&["--frames", "1-20", "--width", "48", "--out", "files"]);
    let file = std::io::BufReader::new(std::fs::File::open(place.path("tide.apng")).unwrap());
    let mut reader = png::Decoder::new(file).read_info().unwrap();
    assert_eq!(reader.info().animation_control.unwrap().num_frames, 20);
    let mut frame = vec![0; reader.output_buffer_size().unwrap()];
    for number in 1..=20 {
        reader.next_frame(&mut frame).unwrap();
        let control = reader.info().frame_control.unwrap();
        assert_eq!(
            f64::from(control.delay_num) / f64::from(control.delay_den),
            1.0 / 24.0
        );
        let same = picture(place.path(&format!("files/frame-{number:04}.png")));
        assert_eq!(&frame, same.as_raw(), "{number}");
    }
}

/// GIF has no room for 60 pictures a second; an animated PNG has, and for one that stands for 2 s.
#[test]
fn quick_and_slow_animations_last_as_long_as_the_shot() {
    let place = Place::new(60, "", "", "");
    let at_rate = |rate: &str| {
        let shot = std::fs::read_to_string(place.path("shot.toml")).unwrap();
        let (before, after) = shot.split_once("rate = ").unwrap();
        let rest = after.split_once('\n').unwrap().1;
        std::fs::write(
            place.path("shot.toml"),
            format!("{before}rate = {rate}\n{rest}"),
        )
        .unwrap();
    };
    at_rate("60");
    let (_, said) = place.shows(&["--all", "--width", "48", "--exact", "--out", "quick.gif"]);
    assert!(said.contains("50 of 60 frames shown"), "{said}");
    let file = std::fs::File::open(place.path("quick.gif")).unwrap();
    let mut decoder = gif::DecodeOptions::new().read_info(file).unwrap();
    let mut hundredths = 0;
    while let Some(frame) = decoder.read_next_frame().unwrap() {
        assert!(frame.delay >= 2);
        hundredths += u32::from(frame.delay);
    }
    assert_eq!(hundredths, 100);
    for (rate, seconds) in [("60", 1.0 / 60.0), ("0.5", 2.0)] {
        at_rate(rate);
        place.shows(&[
            "--frames", "1-3", "--width", "48", "--exact", "--out", "a.apng",
        ]);
        let file = std::io::BufReader::new(std::fs::File::open(place.path("a.apng")).unwrap());
        let reader = png::Decoder::new(file).read_info().unwrap();
        let control = reader.info().frame_control.unwrap();
        let delay = f64::from(control.delay_num) / f64::from(control.delay_den);
        assert!((delay - seconds).abs() < 1e-9, "{rate}: {delay}");
    }
}

/// However long an animation, few of its pictures are asked for at a time, and each but those that a
/// palette is learnt from once.
#[test]
fn an_animation_holds_few_of_its_pictures() {
    let folder = tempfile::tempdir().unwrap();
    let count = 1000;
    for name in ["long.gif", "long.apng"] {
        let (mut most, mut asked) = (0, vec![0; count]);
        let mut make = |places: &[usize]| {
            most = most.max(places.len());
            for place in places {
                asked[*place] += 1;
            }
            let even = |place: &usize| RgbImage::from_pixel(8, 6, Rgb([*place as u8, 90, 30]));
            Ok(places.iter().map(even).collect())
        };
        let pictures = Pictures {
            count,
            make: &mut make,
        };
        let path = folder.path().join(name);
        let go_on = |_, _| ControlFlow::Continue(());
        if name.ends_with("gif") {
            animation::gif(pictures, &path, 24.0, true, go_on).unwrap();
        } else {
            animation::apng(pictures, &path, 24.0, go_on).unwrap();
        }
        assert!((1..=8).contains(&most), "{name}: {most}");
        assert!(asked.iter().all(|times| (1..=2).contains(times)), "{name}");
        let again = if name.ends_with("gif") { 48 } else { 0 };
        assert_eq!(asked.iter().sum::<usize>(), count + again, "{name}");
    }
}
