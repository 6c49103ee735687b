// Reads a UF2 file block by block into a flash image.
// Format: github.com/microsoft/uf2, README.md (magic numbers, layout and flags from memory of it;
// a wrong one fails every test, as nothing would be loaded).

const MAGIC_START_0 = 0x0a324655;
const MAGIC_START_1 = 0x9e5d5157;
const MAGIC_END = 0x0ab16f30;
const NOT_MAIN_FLASH = 0x00000001;
const FAMILY_PRESENT = 0x00002000;
/** The RP2040's family number: pico-sdk, boot/uf2.h. */
const RP2040_FAMILY = 0xe48bff56;
const BLOCK = 512;
const FLASH_START = 0x10000000;

/**
 * Puts the blocks of a UF2 file where they belong.
 * @param {Uint8Array} file the file's bytes
 * @param {Uint8Array} flash the whole flash, from 0x10000000
 * @returns {number} how many bytes have been loaded
 * @throws {Error} for anything that the chip's boot loader would not take
 */
export function load(file, flash) {
  if (file.length === 0 || file.length % BLOCK !== 0) {
    throw new Error(`a UF2 file has whole blocks of ${BLOCK} bytes; this one has ${file.length} bytes`);
  }
  const view = new DataView(file.buffer, file.byteOffset, file.byteLength);
  const blocks = file.length / BLOCK;
  let loaded = 0;
  for (let number = 0; number < blocks; number++) {
    const at = number * BLOCK;
    const word = (offset) => view.getUint32(at + offset, true);
    if (word(0) !== MAGIC_START_0 || word(4) !== MAGIC_START_1 || word(508) !== MAGIC_END) {
      throw new Error(`block ${number} is no UF2 block`);
    }
    const flags = word(8);
    if (flags & NOT_MAIN_FLASH) continue;
    if (!(flags & FAMILY_PRESENT) || word(28) !== RP2040_FAMILY) {
      throw new Error(`block ${number} is not for the RP2040 (family ${word(28).toString(16)})`);
    }
    if (word(20) !== number || word(24) !== blocks) {
      throw new Error(`block ${number} says it is block ${word(20)} of ${word(24)}`);
    }
    const offset = word(12) - FLASH_START;
    const size = word(16);
    if (size > 476 || offset < 0 || offset + size > flash.length) {
      throw new Error(`block ${number} lies outside the flash`);
    }
    flash.set(file.subarray(at + 32, at + 32 + size), offset);
    loaded += size;
  }
  return loaded;
}
