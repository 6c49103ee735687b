/** A seeded generator of 32-bit numbers: Marsaglia, "Xorshift RNGs", 2003 (from memory). */
export class Random {
  /** @param {number} seed any number */
  constructor(seed) {
    this.state = ((seed >>> 0) * 0x9e3779b1 + 0x7f4a7c15) >>> 0 || 1;
    for (let i = 0; i < 8; i++) this.next();
  }

  /** @returns {number} the next one, from 1 to 2^32 - 1 */
  next() {
    let x = this.state;
    x ^= x << 13;
    x ^= x >>> 17;
    x ^= x << 5;
    this.state = x >>> 0;
    return this.state;
  }
}
