// The board's pins, as the tests understand the pin table of hardware-notes; written down here
// once more on purpose: a pin that the image moves by mistake is found.

export const AXES = 6;
export const STEP = 2;
export const DIRECTION = 8;
export const HOME = 14;
export const ENABLE = 20;
export const STOP = 21;
export const HALF_PRESS = 22;
export const LED = 25;
export const RELEASE = 26;
export const CONTACT = 27;
export const LAMP = 28;

/** The interrupt that is the tick: PIO0's first. */
export const TICK_IRQ = 7;
