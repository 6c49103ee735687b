//! Panestep on a Raspberry Pi Pico: pins, pulses, ticks and the ways to the host. What the board
//! does with them is in the library.
//!
//! * [`pins`]: which line sits on which pin.
//! * [`pulses`]: ticks and step pulses.
//! * [`board`]: the library's hardware.
//! * [`kept`]: what outlives a reset.
//! * [`lock`]: what the tick and the main loop share.
//! * [`links`]: USB and UART.
#![no_std]
#![no_main]

mod board;
mod kept;
mod links;
mod lock;
mod log;
mod pins;
mod pulses;

use core::mem::MaybeUninit;
use core::panic::PanicInfo;
use core::ptr::addr_of_mut;
use core::sync::atomic::{AtomicU32, Ordering};

use cortex_m::peripheral::NVIC;
use cortex_m_rt::{ExceptionFrame, exception};
use panestep_firmware::Setup;
use panestep_firmware::core::Core;
use panestep_firmware::service::{Access, Service};
use panestep_protocol::{Activity, MAX_NAME, Ticks};
use rp2040_hal::clocks::{Clock, init_clocks_and_plls};
use rp2040_hal::fugit::{ExtU32, RateExtU32};
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::rosc::RingOscillator;
use rp2040_hal::uart::{DataBits, StopBits, UartConfig, UartPeripheral};
use rp2040_hal::usb::UsbBus;
use rp2040_hal::{Sio, Timer, Watchdog};
use usb_device::bus::UsbBusAllocator;

use crate::board::Board;
use crate::kept::{End, Marks};
use crate::links::Links;
use crate::lock::MainAccess;
use crate::pulses::{Pulses, TICK_RATE};

/// Sets the flash up for execution: run by the boot ROM.
#[unsafe(link_section = ".boot2")]
#[unsafe(no_mangle)]
#[used]
static BOOT2_FIRMWARE: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// What the stand file calls this board: where there are several, each has an image of its own.
const NAME: &str = match option_env!("PANESTEP_BOARD") {
    Some(name) => name,
    None => "main",
};

const _: () = assert!(!NAME.is_empty() && NAME.len() <= MAX_NAME);

/// The Pico's crystal, Hz.
const CRYSTAL: u32 = 12_000_000;

/// Bits a second on the UART.
const BAUD: u32 = 115_200;

/// Ticks between a change of a direction line and a pulse, either way round. A pulse comes out a
/// slot after its tick, and the lines change within theirs, so that at least one tick less than this
/// passes from a pulse's beginning to the change: 30 µs, and 40 µs from the change to a pulse.
const DIRECTION_SETUP: Ticks = Ticks(4);

/// Ticks between two looks at the links: 100 µs, in which the UART brings a byte or two.
const LOOK: u32 = TICK_RATE / 10_000;

/// Longest that the main loop or the ticks may stand still.
const PATIENCE_MS: u32 = 100;

/// Ticks since the start, for the main loop; wraps round.
static TICKS: AtomicU32 = AtomicU32::new(0);

#[rp2040_hal::entry]
fn main() -> ! {
    let Some(pac) = pac::Peripherals::take() else {
        unreachable!()
    };
    let mut resets = pac.RESETS;
    let mut watchdog = Watchdog::new(pac.WATCHDOG);
    let Ok(clocks) = init_clocks_and_plls(
        CRYSTAL,
        pac.XOSC,
        pac.CLOCKS,
        pac.PLL_SYS,
        pac.PLL_USB,
        &mut resets,
        &mut watchdog,
    ) else {
        // Only for frequencies that a PLL cannot make.
        unreachable!()
    };
    let timer = Timer::new(pac.TIMER, &mut resets, &clocks);
    let rosc = RingOscillator::new(pac.ROSC).initialize();
    let boot = kept::draw_boot(|| {
        // Neighbouring readings hang together.
        cortex_m::asm::delay(100);
        rosc.get_random_bit()
    });

    // Also takes the pins out of their reset.
    let sio = Sio::new(pac.SIO);
    let own =
        rp2040_hal::gpio::Pins::new(pac.IO_BANK0, pac.PADS_BANK0, sio.gpio_bank0, &mut resets);
    // SAFETY: nothing else uses these blocks beside the two pins of the UART, which get the same
    // functions here.
    let (io, pads) = unsafe { (&*pac::IO_BANK0::ptr(), &*pac::PADS_BANK0::ptr()) };
    board::set_up_pins(io, pads);
    let uart_pins = (own.gpio0.reconfigure(), own.gpio1.reconfigure());

    let system_clock = clocks.system_clock.freq().to_Hz();
    let pulses = Pulses::start(pac.PIO0, &mut resets, system_clock);
    let board = Board::new(pulses, Marks::new());
    let setup = Setup {
        name: NAME,
        axes: pins::AXES,
        tick_rate: TICK_RATE,
        boot,
        direction_setup: DIRECTION_SETUP,
    };
    let mut service = Service::new(&setup);
    let core = Core::new(board, &setup);
    // SAFETY: here, once, with the interrupt still off.
    let mut access = unsafe { MainAccess::new(core) };

    let config = UartConfig::new(BAUD.Hz(), DataBits::Eight, None, StopBits::One);
    let uart = UartPeripheral::new(pac.UART0, uart_pins, &mut resets)
        .enable(config, clocks.peripheral_clock.freq());
    // Only for a speed that the clock cannot make.
    let Ok(uart) = uart else { unreachable!() };
    let bus = UsbBus::new(
        pac.USBCTRL_REGS,
        pac.USBCTRL_DPRAM,
        clocks.usb_clock,
        true,
        &mut resets,
    );
    let mut links = Links::new(keep_bus(UsbBusAllocator::new(bus)), uart);

    match kept::take_end() {
        Some(End::Panic { file, line }) => {
            log::warning!("the last start ended in a panic: {}:{}", file, line)
        }
        Some(End::Fault { address }) => {
            log::warning!("the last start ended in a fault at {}", address)
        }
        None => {}
    }
    log::info!("boot {}", boot);

    watchdog.start(PATIENCE_MS.millis());
    pulses::forget_ticks();
    // SAFETY: from here on the tick comes at the core, and the main loop only through `access`.
    unsafe { NVIC::unmask(pac::Interrupt::PIO0_IRQ_0) };

    let mut looked: u32 = 0;
    loop {
        // Until a tick.
        cortex_m::asm::wfi();
        let ticks = TICKS.load(Ordering::Relaxed);
        if ticks.wrapping_sub(looked) < LOOK {
            continue;
        }
        looked = ticks;
        // Ticks have passed, and the loop has come round.
        watchdog.feed();
        if pulses::take_lost() {
            log::warning!("ticks lost");
            access.with(|core| {
                if core.activity() != Activity::Idle {
                    core.hardware_mut().pulses_mut().give_up();
                }
            });
        }
        service.work(&mut access);
        links.poll(timer.get_counter_low(), &mut service, &mut access);
    }
}

/// One slot of the pulses has begun.
#[interrupt]
fn PIO0_IRQ_0() {
    // SAFETY: this is the tick's interrupt.
    unsafe {
        lock::in_tick(|core| {
            core.hardware_mut().pulses_mut().take_tick();
            core.tick();
        });
    }
    // Only the tick writes it.
    TICKS.store(
        TICKS.load(Ordering::Relaxed).wrapping_add(1),
        Ordering::Relaxed,
    );
}

/// A place for the USB stack's bus that lasts. To be called once.
fn keep_bus(bus: UsbBusAllocator<UsbBus>) -> &'static UsbBusAllocator<UsbBus> {
    static mut BUS: MaybeUninit<UsbBusAllocator<UsbBus>> = MaybeUninit::uninit();
    // SAFETY: called once, by the main loop.
    unsafe { (*addr_of_mut!(BUS)).write(bus) }
}

/// Leaves a note and resets: the lines go to where their resistors hold them, and the next start has
/// another number.
#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    if let Some(place) = info.location() {
        // SAFETY: the name of a source file is a constant of the program, however short the life
        // that the panic gives it.
        let file = unsafe { core::mem::transmute::<&str, &'static str>(place.file()) };
        kept::leave_end(End::Panic {
            file,
            line: place.line(),
        });
    }
    reset()
}

/// As after a panic.
#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    kept::leave_end(End::Fault {
        address: frame.pc(),
    });
    reset()
}

/// Resets the whole chip, as the watchdog does. (A reset asked of the processor leaves the pins as
/// they are.)
fn reset() -> ! {
    // SAFETY: nothing else runs any more.
    let (stages, watchdog) = unsafe { (&*pac::PSM::ptr(), &*pac::WATCHDOG::ptr()) };
    // All but the two oscillators, also where the watchdog has not been started yet.
    stages.wdsel().write(|all| {
        // SAFETY: each bit is a part to be reset.
        unsafe { all.bits(0x0001_ffff) };
        all.rosc().clear_bit().xosc().clear_bit()
    });
    watchdog
        .ctrl()
        .modify(|_, control| control.trigger().set_bit());
    loop {
        cortex_m::asm::nop();
    }
}
