// The board's two ways to a host: USB serial and UART. Bytes for the host gather in `heard`.

const BULK = 2;
const CDC_DATA = 10;
const DESCRIPTOR_DEVICE = 1;
const DESCRIPTOR_CONFIGURATION = 2;
const DESCRIPTOR_INTERFACE = 4;
const DESCRIPTOR_ENDPOINT = 5;
const PACKET = 64;
/** After a new address a device has 2 ms: USB 2.0, 9.2.6.3. Here it has them every time. */
const RECOVERY = 2e6;

/** A set-up packet: USB 2.0, chapter 9.3. */
function setup(type, request, value, index, length) {
  return Uint8Array.of(
    type, request, value & 0xff, value >> 8, index & 0xff, index >> 8, length & 0xff, length >> 8,
  );
}

/** A host's side of USB serial: enumerates the board and carries bytes. */
export class Usb {
  /**
   * @param {object} rp2040 the package's chip
   * @param {(bytes: Uint8Array) => void} hear takes bytes for the host
   */
  constructor(rp2040, hear) {
    this.usb = rp2040.usbCtrl;
    this.hear = hear;
    this.queue = [];
    this.stage = 0;
    this.descriptors = [];
    this.out = -1;
    this.in = -1;
    /** Room of each OUT endpoint that the board has armed; it may arm it early. */
    this.armed = new Map();
    this.ready = false;
    this.packet = null;
    this.turn = rp2040.clock.createAlarm(() => this.usb.sendSetupPacket(this.packet));
    this.usb.onUSBEnabled = () => this.usb.resetDevice();
    this.usb.onResetReceived = () => {
      this.stage = 1;
      this.ready = false;
      this.descriptors = [];
      this.control(setup(0x00, 5, 1, 0, 0));
    };
    this.usb.onEndpointWrite = (endpoint, bytes) => this.written(endpoint, bytes);
    this.usb.onEndpointRead = (endpoint, size) => {
      if (endpoint === 0) return;
      this.armed.set(endpoint, size);
      this.feed();
    };
  }

  /** The next control transfer; a host begins one in a frame of its own. */
  control(packet) {
    this.packet = packet;
    this.turn.schedule(RECOVERY);
  }

  written(endpoint, bytes) {
    if (endpoint !== 0) {
      if (endpoint === this.in && bytes.length > 0) this.hear(bytes);
      return;
    }
    const ask = (type, length) => this.control(setup(0x80, 6, type << 8, 0, length));
    switch (this.stage) {
      case 1: // Its address is acknowledged.
        this.stage = 2;
        ask(DESCRIPTOR_DEVICE, 18);
        break;
      case 2:
        if (bytes[1] !== DESCRIPTOR_DEVICE) return;
        this.stage = 3;
        ask(DESCRIPTOR_CONFIGURATION, 9);
        break;
      case 3:
        if (bytes[1] !== DESCRIPTOR_CONFIGURATION) return;
        this.stage = 4;
        this.total = bytes[2] | (bytes[3] << 8);
        ask(DESCRIPTOR_CONFIGURATION, this.total);
        break;
      case 4:
        this.descriptors.push(...bytes);
        if (this.descriptors.length < this.total) return;
        this.stage = 5;
        this.endpoints();
        this.control(setup(0x00, 9, this.descriptors[5], 0, 0));
        break;
      case 5: // Configured; now the terminal is opened.
        this.stage = 6;
        this.control(setup(0x21, 0x22, 3, 0, 0));
        break;
      case 6:
        this.stage = 7;
        this.ready = true;
        this.feed();
        break;
      default:
    }
  }

  endpoints() {
    const { descriptors } = this;
    let data = false;
    for (let at = 0; at + 1 < descriptors.length && descriptors[at] >= 2; at += descriptors[at]) {
      const type = descriptors[at + 1];
      if (type === DESCRIPTOR_INTERFACE) data = descriptors[at + 5] === CDC_DATA;
      if (type !== DESCRIPTOR_ENDPOINT || !data || (descriptors[at + 3] & 3) !== BULK) continue;
      const address = descriptors[at + 2];
      if (address & 0x80) this.in = address & 0xf;
      else this.out = address & 0xf;
    }
  }

  /** @param {Uint8Array} bytes for the board */
  send(bytes) {
    this.queue.push(...bytes);
    this.feed();
  }

  feed() {
    const room = this.armed.get(this.out);
    if (!this.ready || room === undefined || this.queue.length === 0) return;
    this.armed.delete(this.out);
    const bytes = Uint8Array.from(this.queue.splice(0, Math.min(PACKET, room)));
    this.usb.endpointReadDone(this.out, bytes);
  }
}

/** A UART line at the speed that the board has set. The package's own takes no time. */
export class Uart {
  /**
   * @param {object} rp2040 the package's chip
   * @param {(bytes: Uint8Array) => void} hear takes bytes for the host
   */
  constructor(rp2040, hear) {
    this.uart = rp2040.uart[0];
    this.clock = rp2040.clock;
    this.hear = hear;
    this.toBoard = [];
    this.fromBoard = [];
    /** Bytes that found the board's FIFO full. */
    this.overrun = 0;
    this.ready = true;
    this.busyUntil = 0;
    this.inward = this.clock.createAlarm(() => {
      this.feeding = false;
      const byte = this.toBoard.shift();
      if (this.uart.rxFIFO.full) this.overrun++;
      else this.uart.feedByte(byte);
      this.feed();
    });
    this.outward = this.clock.createAlarm(() => {
      this.hear(Uint8Array.of(this.fromBoard.shift()));
      if (this.fromBoard.length > 0) this.outward.schedule(this.byteTime());
    });
    this.uart.onByte = (byte) => {
      this.fromBoard.push(byte);
      if (this.fromBoard.length === 1) this.outward.schedule(this.byteTime());
    };
  }

  /** Nanoseconds of a start bit, eight of data and a stop bit. */
  byteTime() {
    return 1e10 / (this.uart.baudRate || 115200);
  }

  /** @param {Uint8Array} bytes for the board */
  send(bytes) {
    this.toBoard.push(...bytes);
    this.feed();
  }

  feed() {
    if (this.feeding || this.toBoard.length === 0) return;
    this.feeding = true;
    this.inward.schedule(this.byteTime());
  }
}
