//! Small linked programs, written byte by byte (the fields' names are those of elf(5)).

use panestep_tests::image::{FLASH, RAM};

/// One stretch of memory: a segment and a section.
pub(crate) struct Part {
    /// Where it is at run time.
    pub(crate) address: u32,
    /// Where it is loaded from.
    pub(crate) load: u32,
    /// What is there in the file.
    pub(crate) data: Vec<u8>,
    /// Bytes after that which are in no file.
    pub(crate) more: u32,
}

impl Part {
    pub(crate) fn flash(address: u32, data: Vec<u8>) -> Self {
        Self {
            address,
            load: address,
            data,
            more: 0,
        }
    }

    fn ram(address: u32, more: u32) -> Self {
        Self {
            more,
            ..Self::flash(address, Vec::new())
        }
    }
}

/// A linked program.
pub(crate) struct Linked {
    pub(crate) parts: Vec<Part>,
    /// `e_machine`; 40 is ARM.
    pub(crate) machine: u16,
}

impl Linked {
    /// Second stage, vectors, `code` bytes of code, 12 bytes of .data, 300 of .bss, 64 of .uninit.
    pub(crate) fn usual(code: u32) -> Self {
        let end = FLASH + 0x108 + code;
        let mut linked = Self {
            parts: vec![
                Part::flash(FLASH, rp2040_boot2::BOOT_LOADER_GENERIC_03H.to_vec()),
                Part::flash(FLASH + 0x100, vec![0; 8]),
                Part::flash(
                    FLASH + 0x108,
                    (0..code).map(|i| (i * 7 + 1) as u8).collect(),
                ),
                Part {
                    address: RAM,
                    ..Part::flash(end, (1..=12).collect())
                },
                Part::ram(RAM + 12, 300),
                Part::ram(RAM + 312, 64),
            ],
            machine: 40,
        };
        linked.set_vectors(RAM + 256 * 1024, FLASH + 0x109);
        linked
    }

    /// Where the stack and the code begin.
    pub(crate) fn set_vectors(&mut self, stack: u32, reset: u32) {
        self.parts[1].data = [stack.to_le_bytes(), reset.to_le_bytes()].concat();
    }

    pub(crate) fn bytes(&self) -> Vec<u8> {
        let parts = self.parts.len() as u32;
        let segments = 52;
        let sections = segments + 32 * parts;
        // Before the parts' sections an empty one, and one with no name in it.
        let names = sections + 40 * (parts + 2);
        let mut place = names + 1;
        let mut headers = Vec::new();
        let mut section_headers = Vec::new();
        section_headers.extend([0; 10]);
        section_headers.extend([0, 3, 0, 0, names, 1, 0, 0, 1, 0]); // STRTAB
        let mut contents = vec![0];
        for part in &self.parts {
            let bytes = part.data.len() as u32;
            let whole = bytes + part.more;
            // PT_LOAD, readable.
            headers.extend([1, place, part.address, part.load, bytes, whole, 4, 4]);
            // PROGBITS or NOBITS; ALLOC.
            let kind = if part.more > 0 { 8 } else { 1 };
            section_headers.extend([0, kind, 2, part.address, place, whole, 0, 0, 4, 0]);
            contents.extend(&part.data);
            place += bytes;
        }

        let mut file = b"\x7fELF\x01\x01\x01".to_vec();
        file.resize(16, 0);
        let half = |file: &mut Vec<u8>, value: u16| file.extend(value.to_le_bytes());
        let word = |file: &mut Vec<u8>, value: u32| file.extend(value.to_le_bytes());
        half(&mut file, 2); // e_type: EXEC
        half(&mut file, self.machine);
        word(&mut file, 1); // e_version
        word(&mut file, FLASH + 0x109); // e_entry
        word(&mut file, segments); // e_phoff
        word(&mut file, sections); // e_shoff
        word(&mut file, 0x0500_0000); // e_flags: EABI 5
        for value in [52, 32, parts as u16, 40, parts as u16 + 2, 1] {
            half(&mut file, value); // e_ehsize to e_shstrndx
        }
        for value in headers.into_iter().chain(section_headers) {
            word(&mut file, value);
        }
        file.extend(contents);
        file
    }
}
