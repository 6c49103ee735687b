//! A schedule's fingerprint: says whether a take goes on with the very schedule it began with.

use crate::schedule::{Release, Schedule};
use crate::shot::When;

static CRC: crc::Crc<u64> = crc::Crc::<u64>::new(&crc::CRC_64_XZ);

/// The CRC-64/XZ over every number in a schedule that decides where anything goes or how it is
/// exposed. Names of axes, lamps, levels and drawings count, the shot's and the passes' do not.
#[must_use]
pub fn fingerprint(schedule: &Schedule) -> u64 {
    let mut digest = CRC.digest();
    let mut number = |value: u64| digest.update(&value.to_le_bytes());
    number(u64::from(schedule.frames));
    number(schedule.boards.len() as u64);
    for axis in &schedule.motors {
        for value in [
            axis.board as u64,
            u64::from(axis.channel),
            u64::from(axis.reversed),
            u64::from(axis.speed),
            u64::from(axis.acceleration),
            u64::from(axis.jerk),
            u64::from(axis.slow),
            axis.travel.0 as u64,
            axis.travel.1 as u64,
            axis.switch as u64,
            axis.within as u64,
            axis.slack as u64,
            axis.take_up as u64,
            axis.step_size.to_bits(),
        ] {
            number(value);
        }
    }
    for axis in &schedule.hands {
        number(axis.scale.to_bits());
    }
    for &target in &schedule.motor_targets {
        number(target as u64);
    }
    for &target in &schedule.hand_targets {
        number(target.to_bits());
    }
    let exposure = &schedule.exposure;
    let mut times = vec![exposure.settle, exposure.window, exposure.ready];
    let mut words: &[String] = &[];
    match &exposure.release {
        Release::Board {
            board,
            half_press,
            press,
            flash_contact,
        } => {
            number(*board as u64);
            number(u64::from(*flash_contact));
            times.extend([*half_press, *press]);
        }
        Release::Command {
            words: command,
            time_out,
        } => {
            number(u64::MAX);
            words = command;
            times.push(*time_out);
        }
        Release::Hand => number(u64::MAX - 1),
    }
    times.extend(exposure.arrival);
    number(times.len() as u64);
    for time in times {
        number(time.as_nanos() as u64);
    }
    number(u64::from(schedule.home_check));
    for text in schedule
        .boards
        .iter()
        .map(String::as_str)
        .chain(
            schedule
                .motors
                .iter()
                .flat_map(|axis| [&*axis.of, axis.way.name()]),
        )
        .chain(
            schedule
                .hands
                .iter()
                .flat_map(|axis| [&*axis.of, axis.way.name()]),
        )
        .chain(words.iter().map(String::as_str))
    {
        digest.update(text.as_bytes());
        digest.update(&[0]);
    }
    // Takes of before there were passes go on: nothing more counts where there is nothing more.
    if !schedule.is_plain() {
        passes(&mut digest, schedule);
    }
    digest.finalize()
}

/// Lamps, passes and drawings. Names of passes do not count.
fn passes(digest: &mut crc::Digest<'_, u64>, schedule: &Schedule) {
    let mut number = |value: u64| digest.update(&value.to_le_bytes());
    let mut texts: Vec<&str> = Vec::new();
    number(schedule.lamps.len() as u64);
    for lamp in &schedule.lamps {
        let (board, output) = lamp
            .output
            .map_or((u64::MAX, 0), |(board, output)| (board as u64, output));
        number(board);
        number(u64::from(output));
        number(lamp.warm_up.as_nanos() as u64);
        texts.push(&lamp.name);
    }
    let passes = schedule.all_passes();
    number(passes.len() as u64);
    for (place, pass) in passes.iter().enumerate() {
        number(u64::from(place > 0 && pass.when == When::AfterRun));
        number(pass.lamps.len() as u64);
        for &lamp in &pass.lamps {
            number(lamp as u64);
        }
        for time in [pass.exposure, pass.press, pass.window] {
            number(time.as_nanos() as u64);
        }
        number(u64::from(pass.set_by_hand));
        number(pass.without.len() as u64);
        texts.extend(pass.without.iter().map(String::as_str));
    }
    number(schedule.laid.len() as u64);
    for laid in &schedule.laid {
        number(u64::from(laid.frame));
        number(u64::from(laid.drawing.is_some()));
        texts.push(&laid.on);
        texts.extend(laid.drawing.as_deref());
    }
    for text in texts {
        digest.update(text.as_bytes());
        digest.update(&[0]);
    }
}
