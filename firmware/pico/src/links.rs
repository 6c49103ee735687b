//! The two ways to the host: USB, as a serial port, and the UART.
//!
//! The host may come by either. The one that last brought a sound message is the one in use. Where it
//! has been silent for a second, a sound message on the other one puts that into use: two hosts cannot
//! talk into each other's frames, and a needle on an open wire changes nothing. That first message
//! itself is lost; a host asks again.
//!
//! Nothing here waits. What the host does not fetch stays in the service's queue, and where that is
//! full, whole answers are dropped: the host asks again.

use panestep_firmware::service::{Access, Service};
use panestep_protocol::{Accumulator, ToBoard};
use rp2040_hal::gpio::bank0::{Gpio0, Gpio1};
use rp2040_hal::gpio::{FunctionUart, Pin, PullNone, PullUp};
use rp2040_hal::pac::UART0;
use rp2040_hal::uart::{Enabled, UartPeripheral};
use rp2040_hal::usb::UsbBus;
use usb_device::device::{
    StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid,
};
use usbd_serial::{SerialPort, USB_CLASS_CDC};

use crate::{NAME, pins};

/// Pairs of vendor and product that anybody may use for serial ports, told apart by their names
/// (V-USB's shared identifiers, "USB-IDs-for-free.txt"; from memory).
const VENDOR_AND_PRODUCT: UsbVidPid = UsbVidPid(0x16c0, 0x27dd);

/// Bytes that are handled at once: one packet of a USB serial port.
const PACKET: usize = 64;

const _: () = assert!(pins::UART_OUT.first == 0 && pins::UART_IN.first == 1);

/// The UART on its pins.
pub type Uart = UartPeripheral<
    Enabled,
    UART0,
    (
        Pin<Gpio0, FunctionUart, PullNone>,
        Pin<Gpio1, FunctionUart, PullUp>,
    ),
>;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Usb,
    Uart,
}

/// Both ways, and what waits to be sent.
pub struct Links {
    usb: UsbDevice<'static, UsbBus>,
    serial: SerialPort<'static, UsbBus>,
    uart: Uart,
    way: Way,
    /// Microseconds of the timer when it last brought a sound message, if ever.
    heard: Option<u32>,
    /// What the other one brings.
    other: Accumulator<ToBoard>,
    /// Bytes on their way out: those from `sent` to `count`.
    out: [u8; PACKET],
    sent: usize,
    count: usize,
}

/// Silence after which the other way may be put into use, in microseconds.
const SILENCE: u32 = 1_000_000;

impl Links {
    /// Both ways, neither in use yet.
    ///
    /// # Panics
    /// Never: what the builder may refuse is fixed here.
    pub fn new(bus: &'static usb_device::bus::UsbBusAllocator<UsbBus>, uart: Uart) -> Self {
        let serial = SerialPort::new(bus);
        let names = StringDescriptors::default()
            .manufacturer("Panestep")
            .product("Panestep board")
            .serial_number(NAME);
        let usb = UsbDeviceBuilder::new(bus, VENDOR_AND_PRODUCT)
            .strings(&[names])
            .and_then(|builder| builder.max_packet_size_0(PACKET as u8));
        let Ok(builder) = usb else { unreachable!() };
        Self {
            usb: builder.device_class(USB_CLASS_CDC).build(),
            serial,
            uart,
            way: Way::Usb,
            heard: None,
            other: Accumulator::default(),
            out: [0; PACKET],
            sent: 0,
            count: 0,
        }
    }

    /// Takes what has come in and sends what there is room for. `now`: microseconds, wrapping round.
    pub fn poll(&mut self, now: u32, service: &mut Service, access: &mut impl Access) {
        let mut bytes = [0; PACKET];
        self.usb.poll(&mut [&mut self.serial]);
        // Also from the way that is not in use: it must not fill up with what is not listened to.
        let count = self.serial.read(&mut bytes).unwrap_or(0);
        self.take(Way::Usb, &bytes[..count], now, service, access);
        // An error is a damaged byte: the frame that it was of does not pass its check.
        let count = self.uart.read_raw(&mut bytes).unwrap_or(0);
        self.take(Way::Uart, &bytes[..count], now, service, access);
        self.send(service);
    }

    fn take(
        &mut self,
        way: Way,
        bytes: &[u8],
        now: u32,
        service: &mut Service,
        access: &mut impl Access,
    ) {
        if bytes.is_empty() {
            return;
        }
        if way == self.way {
            if service.receive(access, bytes) {
                self.heard = Some(now);
            }
            return;
        }
        let silent = |heard| now.wrapping_sub(heard) >= SILENCE;
        for &byte in bytes {
            if let Some(Ok(_)) = self.other.push(byte)
                && self.heard.is_none_or(silent)
            {
                self.way = way;
                self.heard = Some(now);
                // What waits was meant for the other host.
                while service.transmit(&mut self.out) > 0 {}
                self.count = 0;
                self.sent = 0;
            }
        }
    }

    fn send(&mut self, service: &mut Service) {
        loop {
            if self.sent == self.count {
                self.sent = 0;
                self.count = service.transmit(&mut self.out);
                if self.count == 0 {
                    return;
                }
            }
            let left = &self.out[self.sent..self.count];
            let sent = match self.way {
                Way::Usb if self.usb.state() != UsbDeviceState::Configured => 0,
                Way::Usb => self.serial.write(left).unwrap_or(0),
                Way::Uart => match self.uart.write_raw(left) {
                    Ok(rest) => left.len() - rest.len(),
                    Err(_) => 0,
                },
            };
            if sent == 0 {
                return;
            }
            self.sent += sent;
        }
    }
}
