//! What outlives a reset: a few words in RAM that nothing initialises. A reset by the watchdog, by
//! the RUN pin or by a debugger leaves them alone; without power they are noise.
//!
//! Each word is kept beside its inverse, which tells noise and half-written words from sound ones. It
//! does not tell a record of old and new words from a whole one: that is for whoever writes it. The
//! mark's count is its last word, so that a record begun and not finished still is the older one.

use core::cell::UnsafeCell;
use core::mem::MaybeUninit;
use core::ops::Range;
use core::ptr;
use core::slice;
use core::sync::atomic::{Ordering, compiler_fence};

use panestep_protocol::{BootId, Mark, ShotId, Token};

/// Addresses of the Pico's flash.
const FLASH: Range<u32> = 0x1000_0000..0x1020_0000;

/// `N` words and their inverses.
#[repr(C)]
struct Record<const N: usize> {
    words: UnsafeCell<MaybeUninit<[[u32; N]; 2]>>,
}

// SAFETY: each record is used by the one owner of the type that is made for it below; see there.
unsafe impl<const N: usize> Sync for Record<N> {}

impl<const N: usize> Record<N> {
    const fn new() -> Self {
        Self {
            words: UnsafeCell::new(MaybeUninit::uninit()),
        }
    }

    fn pair(&self, at: usize) -> [*mut u32; 2] {
        let base = self.words.get().cast::<u32>();
        // `at` is below N at every call.
        [base.wrapping_add(at), base.wrapping_add(N + at)]
    }

    /// The words, where they are sound.
    fn read(&self) -> Option<[u32; N]> {
        let mut words = [0; N];
        for (at, word) in words.iter_mut().enumerate() {
            let [plain, inverse] = self.pair(at);
            // SAFETY: both point into the record. Every pattern is a `u32`; volatile, because what
            // is there was written before this program began, which the compiler must not reason
            // about.
            let (read, check) = unsafe { (ptr::read_volatile(plain), ptr::read_volatile(inverse)) };
            if read != !check {
                return None;
            }
            *word = read;
        }
        Some(words)
    }

    /// Replaces the words, in their order. A reset in the middle leaves some of the old ones.
    fn write(&self, words: [u32; N]) {
        for (at, &word) in words.iter().enumerate() {
            let [plain, inverse] = self.pair(at);
            // SAFETY: both point into the record, and its one owner writes.
            unsafe {
                ptr::write_volatile(plain, word);
                ptr::write_volatile(inverse, !word);
            }
        }
        compiler_fence(Ordering::SeqCst);
    }
}

#[unsafe(link_section = ".uninit.marks")]
static MARKS: [Record<5>; 2] = [Record::new(), Record::new()];
#[unsafe(link_section = ".uninit.boot")]
static BOOT: Record<2> = Record::new();
#[unsafe(link_section = ".uninit.end")]
static END: Record<4> = Record::new();

/// The place for the mark: two records in turn, so that a reset in the middle of writing one leaves
/// the other.
#[derive(Debug)]
pub struct Marks {
    /// Raised by one with each mark.
    count: u32,
}

impl Marks {
    /// To be made once.
    pub fn new() -> Self {
        let count = latest().map_or(0, |words| words[4]);
        Self { count }
    }

    /// The mark, where there is a sound one.
    pub fn mark(&self) -> Option<Mark> {
        let [low, high, slot, attempt, _] = latest()?;
        Some(Mark {
            shot: ShotId(u64::from(high) << 32 | u64::from(low)),
            token: Token {
                slot,
                attempt: u16::try_from(attempt).ok()?,
            },
        })
    }

    /// Replaces it.
    pub fn set_mark(&mut self, mark: Mark) {
        self.count = self.count.wrapping_add(1);
        let record = &MARKS[(self.count & 1) as usize];
        record.write([
            mark.shot.0 as u32,
            (mark.shot.0 >> 32) as u32,
            mark.token.slot,
            u32::from(mark.token.attempt),
            self.count,
        ]);
    }
}

/// The later one of the two, where there is any.
fn latest() -> Option<[u32; 5]> {
    match (MARKS[0].read(), MARKS[1].read()) {
        // Each follows the other by one.
        (Some(even), Some(odd)) if even[4] == odd[4].wrapping_add(1) => Some(even),
        (Some(even), None) => Some(even),
        (_, odd) => odd,
    }
}

/// Draws this start's number: from the ring oscillator's noise, and never the last start's, so that
/// a reset cannot pass unnoticed.
pub fn draw_boot(mut random_bit: impl FnMut() -> bool) -> BootId {
    let noise = (0..64).fold(0, |noise, _| noise << 1 | u64::from(random_bit()));
    let before = BOOT
        .read()
        .map_or(0, |[low, high]| u64::from(high) << 32 | u64::from(low));
    let mut boot = mixed(before.wrapping_add(noise));
    if boot == before {
        boot = boot.wrapping_add(1);
    }
    BOOT.write([boot as u32, (boot >> 32) as u32]);
    BootId(boot)
}

/// Neighbouring numbers to ones that have nothing in common: the finaliser of SplitMix64 (G. Steele,
/// D. Lea, C. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014; constants from
/// memory).
const fn mixed(value: u64) -> u64 {
    let value = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let value = (value ^ (value >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let value = (value ^ (value >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    value ^ (value >> 31)
}

/// How the last start ended, where it was by a fault of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// A panic.
    Panic {
        /// The source file, where its name still is where it was.
        file: &'static str,
        /// The line in it.
        line: u32,
    },
    /// The processor met something that it cannot carry out.
    Fault {
        /// Where.
        address: u32,
    },
}

/// Leaves a note for the next start.
pub fn leave_end(end: End) {
    END.write(match end {
        End::Panic { file, line } => [1, file.as_ptr() as u32, file.len() as u32, line],
        End::Fault { address } => [2, address, 0, 0],
    });
}

/// Takes the note of the last start.
pub fn take_end() -> Option<End> {
    let end = match END.read()? {
        [1, start, length, line] => Some(End::Panic {
            file: in_flash(start, length).unwrap_or("another image"),
            line,
        }),
        [2, address, ..] => Some(End::Fault { address }),
        _ => None,
    };
    END.write([0; 4]);
    end
}

/// The text at this place of the flash. After another image has been flashed, something else is
/// there.
fn in_flash(start: u32, length: u32) -> Option<&'static str> {
    let end = start.checked_add(length)?;
    if length > 200 || start < FLASH.start || end > FLASH.end {
        return None;
    }
    // SAFETY: the whole of it is in flash, which can be read and does not change while this runs.
    let bytes = unsafe { slice::from_raw_parts(start as *const u8, length as usize) };
    str::from_utf8(bytes).ok()
}
