// Thumb instructions as JavaScript: one function that writes the text for one instruction.
// Encodings: ARMv6-M Architecture Reference Manual (ARM DDI 0419), chapter A6; cycles: Cortex-M0+
// Technical Reference Manual (ARM DDI 0484), table 3-1 (both from memory; `doubt.mjs` compares
// every instruction of an image's run with the package's own interpreter).
//
// In the text, registers are `r0` to `r14`, 32-bit integers; flags `fN fZ fC fV` are booleans. What
// an instruction does to memory is written with `load` and `store` of the block that it is in.

const RAM = 0x20000000;

/**
 * @typedef {object} Text
 * @property {string} code what it does
 * @property {number} cycles that it always takes
 * @property {boolean} [ends] whether the block ends with it; the code then sets the PC itself
 */

/**
 * @param {import('./translate.mjs').Block} block what registers and flags are used in
 * @param {number} op the instruction's first half-word
 * @param {number} op2 the half-word after it
 * @param {number} pc its address
 * @returns {Text | null} `null`: not one of those that are translated
 */
export function decode(block, op, op2, pc) {
  const r = (number) => block.read(number);
  const w = (number) => block.write(number);
  const low = (shift) => (op >> shift) & 7;
  const logic = (d) => {
    block.set('N', 'Z');
    return `fN=${w(d)}<0;fZ=${w(d)}===0;`;
  };
  switch (op >> 11) {
    case 0b00000: {
      // LSLS immediate
      const n = (op >> 6) & 31;
      const [m, d] = [r(low(3)), low(0)];
      let code = '';
      if (n > 0) {
        block.set('C');
        code += `fC=(${m}>>>${32 - n}&1)!==0;`;
      }
      return { code: `${code}${w(d)}=${m}<<${n};${logic(d)}`, cycles: 1 };
    }
    case 0b00001:
    case 0b00010: {
      // LSRS, ASRS immediate; 0 stands for 32
      const n = (op >> 6) & 31;
      const arithmetic = op >> 11 === 2;
      const [m, d] = [r(low(3)), low(0)];
      block.set('C');
      const carry = `fC=(${m}>>>${n === 0 ? 31 : n - 1}&1)!==0;`;
      const shifted = arithmetic ? `${m}>>${n === 0 ? 31 : n}` : n === 0 ? '0' : `(${m}>>>${n})|0`;
      return { code: `${carry}${w(d)}=${shifted};${logic(d)}`, cycles: 1 };
    }
    case 0b00011: {
      // ADDS, SUBS three registers or a small number
      const other = op & 0x400 ? `${low(6)}` : r(low(6));
      return { code: sum(block, low(0), r(low(3)), other, (op & 0x200) !== 0), cycles: 1 };
    }
    case 0b00100: {
      const d = low(8);
      block.set('N', 'Z');
      return { code: `${w(d)}=${op & 255};fN=false;fZ=${(op & 255) === 0};`, cycles: 1 };
    }
    case 0b00101:
      return { code: sum(block, null, r(low(8)), `${op & 255}`, true), cycles: 1 };
    case 0b00110:
      return { code: sum(block, low(8), r(low(8)), `${op & 255}`, false), cycles: 1 };
    case 0b00111:
      return { code: sum(block, low(8), r(low(8)), `${op & 255}`, true), cycles: 1 };
    case 0b01000:
      return op & 0x400 ? special(block, op, pc) : data(block, op);
    case 0b01001: {
      // LDR literal
      const address = ((pc + 4) & ~3) + ((op & 255) << 2);
      return { code: block.literal(low(8), address), cycles: 2 };
    }
    case 0b01010:
    case 0b01011: {
      // Loads and stores by two registers
      const address = `(${r(low(3))}+${r(low(6))})|0`;
      const [size, signed, store] = [
        [4, false, true], [2, false, true], [1, false, true], [1, true, false],
        [4, false, false], [2, false, false], [1, false, false], [2, true, false],
      ][(op >> 9) & 7];
      return access(block, address, low(0), size, signed, store);
    }
    case 0b01100:
    case 0b01101:
      return access(
        block, `(${r(low(3))}+${((op >> 6) & 31) << 2})|0`, low(0), 4, false, !(op & 0x800));
    case 0b01110:
    case 0b01111:
      return access(block, `(${r(low(3))}+${(op >> 6) & 31})|0`, low(0), 1, false, !(op & 0x800));
    case 0b10000:
    case 0b10001:
      return access(
        block, `(${r(low(3))}+${((op >> 6) & 31) << 1})|0`, low(0), 2, false, !(op & 0x800));
    case 0b10010:
    case 0b10011:
      return access(block, `(${r(13)}+${(op & 255) << 2})|0`, low(8), 4, false, !(op & 0x800));
    case 0b10100:
      return { code: `${w(low(8))}=${(((pc + 4) & ~3) + ((op & 255) << 2)) | 0};`, cycles: 1 };
    case 0b10101:
      return { code: `${w(low(8))}=(${r(13)}+${(op & 255) << 2})|0;`, cycles: 1 };
    case 0b10110:
    case 0b10111:
      return various(block, op, pc);
    case 0b11000:
    case 0b11001:
      return multiple(block, op, pc);
    case 0b11010:
    case 0b11011: {
      const condition = (op >> 8) & 15;
      if (condition >= 14) return null;
      const to = pc + 4 + (((op & 255) << 24) >> 23);
      const test = holds(block, condition);
      return {
        code: `if(${test}){c+=1;core.PC=${to >>> 0};}else core.PC=${pc + 2};`, cycles: 1, ends: true,
      };
    }
    case 0b11100: {
      const to = pc + 4 + (((op & 0x7ff) << 21) >> 20);
      return { code: `core.PC=${to >>> 0};`, cycles: 2, ends: true };
    }
    case 0b11110:
      return wide(block, op, op2, pc);
    default:
      return null;
  }
}

/** Addition or subtraction with all flags; `d` is `null` for a comparison. */
function sum(block, d, a, b, minus) {
  block.set('N', 'Z', 'C', 'V');
  const flags = minus
    ? `fC=(p>>>0)>=(q>>>0);fV=((p^q)&(p^s))<0;`
    : `fC=(s>>>0)<(p>>>0);fV=((p^s)&(q^s))<0;`;
  const put = d === null ? '' : `${block.write(d)}=s;`;
  return `p=${a};q=${b};s=(p${minus ? '-' : '+'}q)|0;fN=s<0;fZ=s===0;${flags}${put}`;
}

/** The sixteen data-processing instructions of two low registers. */
function data(block, op) {
  const d = op & 7;
  const m = block.read((op >> 3) & 7);
  const n = () => block.read(d);
  const w = () => block.write(d);
  const flags = (value) => {
    block.set('N', 'Z');
    return `fN=${value}<0;fZ=${value}===0;`;
  };
  const plain = (code) => ({ code, cycles: 1 });
  switch ((op >> 6) & 15) {
    case 0:
      return plain(`${w()}=${n()}&${m};${flags(w())}`);
    case 1:
      return plain(`${w()}=${n()}^${m};${flags(w())}`);
    case 2: // LSLS
      block.use('C');
      block.set('C');
      return plain(
        `p=${n()};q=${m}&255;if(q>0)fC=q<=32&&(q===32?p&1:p>>>(32-q)&1)!==0;` +
        `${w()}=q<32?p<<q:0;${flags(w())}`);
    case 3: // LSRS
      block.use('C');
      block.set('C');
      return plain(
        `p=${n()};q=${m}&255;if(q>0)fC=q<=32&&(p>>>(q-1)&1)!==0;` +
        `${w()}=q<32?(p>>>q)|0:0;${flags(w())}`);
    case 4: // ASRS
      block.use('C');
      block.set('C');
      return plain(
        `p=${n()};q=${m}&255;if(q>0)fC=((q<32?p>>(q-1):p>>31)&1)!==0;` +
        `${w()}=q<32?p>>q:p>>31;${flags(w())}`);
    case 5: // ADCS
      block.use('C');
      block.set('N', 'Z', 'C', 'V');
      return plain(
        `p=${n()};q=${m};t=(p>>>0)+(q>>>0)+(fC?1:0);s=t|0;fN=s<0;fZ=s===0;` +
        `fC=t>=4294967296;fV=((p^s)&(q^s))<0;${w()}=s;`);
    case 6: // SBCS
      block.use('C');
      block.set('N', 'Z', 'C', 'V');
      return plain(
        `p=${n()};q=${m};t=(p>>>0)-(q>>>0)-(fC?0:1);s=t|0;fN=s<0;fZ=s===0;` +
        `fC=t>=0;fV=((p^q)&(p^s))<0;${w()}=s;`);
    case 7: // RORS
      block.use('C');
      block.set('C');
      return plain(
        `p=${n()};q=${m}&255;s=(p>>>(q&31))|(p<<(32-(q&31)&31));if(q>0)fC=s<0;` +
        `${w()}=s;${flags(w())}`);
    case 8: // TST
      return plain(`s=${n()}&${m};${flags('s')}`);
    case 9: // RSBS
      return plain(sum(block, d, '0', m, true));
    case 10:
      return plain(sum(block, null, n(), m, true));
    case 11:
      return plain(sum(block, null, n(), m, false));
    case 12:
      return plain(`${w()}=${n()}|${m};${flags(w())}`);
    case 13:
      return plain(`${w()}=Math.imul(${n()},${m});${flags(w())}`);
    case 14:
      return plain(`${w()}=${n()}&~${m};${flags(w())}`);
    default:
      return plain(`${w()}=~${m};${flags(w())}`);
  }
}

/** ADD, CMP, MOV of any registers; BX, BLX. */
function special(block, op, pc) {
  const m = (op >> 3) & 15;
  const d = (op & 7) | ((op >> 4) & 8);
  const value = (number) => (number === 15 ? `${pc + 4}` : block.read(number));
  switch ((op >> 8) & 3) {
    case 0: {
      if (d === 15) return null;
      const result = `(${value(d)}+${value(m)})|0`;
      return { code: `${block.write(d)}=${d === 13 ? `(${result})&~3` : result};`, cycles: 1 };
    }
    case 1:
      if (m === 15 || d === 15) return null;
      return { code: sum(block, null, value(d), value(m), true), cycles: 1 };
    case 2:
      if (d === 15) return { code: `core.PC=(${value(m)}&~1)>>>0;`, cycles: 2, ends: true };
      return { code: `${block.write(d)}=${d === 13 ? `${value(m)}&~3` : value(m)};`, cycles: 1 };
    default: {
      if (m === 15) return null;
      const to = block.read(m);
      if (op & 0x80) {
        // The register may be the link register itself.
        return {
          code: `p=${to};${block.write(14)}=${(pc + 2) | 1};core.PC=(p&~1)>>>0;`, cycles: 2, ends: true,
        };
      }
      return { code: `p=${to};`, cycles: 2, ends: true, then: 'core.BXWritePC(p>>>0);' };
    }
  }
}

/** One load or store. */
function access(block, address, t, size, signed, store) {
  return { code: block.access(address, t, size, signed, store), cycles: 2 };
}

function list(op) {
  const registers = [];
  for (let i = 0; i < 8; i++) if (op & (1 << i)) registers.push(i);
  return registers;
}

/** LDM, STM. */
function multiple(block, op, pc) {
  const n = (op >> 8) & 7;
  const registers = list(op);
  if (registers.length === 0) return null;
  const store = !(op & 0x800);
  const base = block.read(n);
  let code = `p=(${base}-${RAM})|0;` + block.inside(registers.length * 4, pc) + 'p>>>=2;';
  registers.forEach((register, place) => {
    code += store
      ? `s32[p+${place}]=${block.read(register)};`
      : `${block.write(register)}=s32[p+${place}];`;
  });
  if (store || !registers.includes(n)) {
    // A stored base that is not the lowest is unpredictable; nothing makes one.
    if (store && registers.includes(n)) return null;
    code += `${block.write(n)}=(${block.read(n)}+${registers.length * 4})|0;`;
  }
  return { code, cycles: 1 + registers.length };
}

/** The rest: SP arithmetic, PUSH, POP, extensions, REV, NOP, CPS. */
function various(block, op, pc) {
  const d = op & 7;
  const m = () => block.read((op >> 3) & 7);
  const w = () => block.write(d);
  if (op >> 8 === 0b10110000) {
    const by = (op & 0x7f) << 2;
    const sp = block.read(13);
    return { code: `${block.write(13)}=(${sp}${op & 0x80 ? '-' : '+'}${by})|0;`, cycles: 1 };
  }
  if (op >> 9 === 0b1011010) {
    const registers = list(op);
    if (op & 0x100) registers.push(14);
    if (registers.length === 0) return null;
    const bytes = registers.length * 4;
    let code = `p=(${block.read(13)}-${bytes + RAM})|0;` + block.inside(bytes, pc);
    code += `${block.write(13)}=(p+${RAM})|0;p>>>=2;`;
    registers.forEach((register, place) => {
      code += `s32[p+${place}]=${block.read(register)};`;
    });
    return { code, cycles: 1 + registers.length };
  }
  if (op >> 9 === 0b1011110) {
    const registers = list(op);
    const returns = (op & 0x100) !== 0;
    const count = registers.length + (returns ? 1 : 0);
    if (count === 0) return null;
    let code = `p=(${block.read(13)}-${RAM})|0;` + block.inside(count * 4, pc);
    code += `${block.write(13)}=(p+${RAM + count * 4})|0;p>>>=2;`;
    registers.forEach((register, place) => {
      code += `${block.write(register)}=s32[p+${place}];`;
    });
    if (!returns) return { code, cycles: 1 + count };
    code += `p=s32[p+${count - 1}];`;
    return { code, cycles: 3 + count, ends: true, then: 'core.BXWritePC(p>>>0);' };
  }
  switch (op >> 6) {
    case 0b1011001000:
      return { code: `${w()}=${m()}<<16>>16;`, cycles: 1 };
    case 0b1011001001:
      return { code: `${w()}=${m()}<<24>>24;`, cycles: 1 };
    case 0b1011001010:
      return { code: `${w()}=${m()}&65535;`, cycles: 1 };
    case 0b1011001011:
      return { code: `${w()}=${m()}&255;`, cycles: 1 };
    case 0b1011101000:
      return {
        code: `p=${m()};${w()}=(p<<24)|((p<<8)&0xff0000)|((p>>>8)&0xff00)|(p>>>24);`, cycles: 1,
      };
    default:
  }
  if (op === 0xbf00) return { code: '', cycles: 1 };
  if (op === 0xb672) return { code: 'core.PM=true;', cycles: 1 };
  if (op === 0xb662) {
    return {
      code: `core.PM=false;core.interruptsUpdated=true;core.PC=${pc + 2};`, cycles: 1, ends: true,
    };
  }
  return null;
}

/** BL and the barriers. */
function wide(block, op, op2, pc) {
  if ((op2 & 0xd000) === 0xd000) {
    const s = (op >> 10) & 1;
    const i1 = 1 - (s ^ ((op2 >> 13) & 1));
    const i2 = 1 - (s ^ ((op2 >> 11) & 1));
    const offset =
      (s ? 0xff000000 : 0) | (i1 << 23) | (i2 << 22) | ((op & 0x3ff) << 12) | ((op2 & 0x7ff) << 1);
    const to = (pc + 4 + offset) >>> 0;
    return { code: `${block.write(14)}=${(pc + 4) | 1};core.PC=${to};`, cycles: 3, ends: true };
  }
  // DSB, DMB, ISB
  if (op === 0xf3bf && [0x8f40, 0x8f50, 0x8f60].includes(op2 & 0xfff0)) {
    return { code: '', cycles: 3, wide: true };
  }
  return null;
}

function holds(block, condition) {
  const [flags, test] = [
    [['Z'], 'fZ'], [['C'], 'fC'], [['N'], 'fN'], [['V'], 'fV'],
    [['C', 'Z'], '(fC&&!fZ)'], [['N', 'V'], 'fN===fV'], [['N', 'V', 'Z'], '(fN===fV&&!fZ)'],
  ][condition >> 1];
  block.use(...flags);
  return condition & 1 ? `!(${test})` : test;
}

/**
 * The package leaves out the cycle of LR in PUSH, and of the PC in POP.
 * @param {number} op an instruction
 * @returns {number} cycles
 */
export function forgotten(op) {
  return op >> 8 === 0b10110101 || op >> 8 === 0b10111101 ? 1 : 0;
}
