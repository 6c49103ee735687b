//! Journals of arbitrary bytes, of arbitrary lines under sound checksums, and sound ones with an
//! edit: a take or an error, never a panic; what is accepted can be cut, resumed, added to and read
//! again; an edit never makes another history.
//!
//! The kinds of entries and their fields are found out from serde's own errors, so that new ones
//! are fuzzed without a change here.
#![no_main]

use std::collections::BTreeSet;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use panestep::take::disk::{Disk, SimulatedDisk};
use panestep::take::journal::{Entry, Journal, JournalError, Stamp, replay};
use panestep_fuzz::{Pieces, plant};
use serde_json::{Map, Value, json};

static CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISCSI);

/// One entry of every kind.
static KINDS: LazyLock<Vec<Value>> = LazyLock::new(kinds);

fuzz_target!(
    init: {
        let mut words: BTreeSet<Vec<u8>> = BTreeSet::new();
        for kind in KINDS.iter() {
            words.insert(kind.to_string().into_bytes());
            words.insert(format!("{{\"n\":1,\"at\":\"\",{}\n", &kind.to_string()[1..]).into());
            for (field, value) in kind.as_object().into_iter().flatten() {
                words.insert(format!("\"{field}\":").into_bytes());
                words.insert(format!(",\"{field}\":{value}").into_bytes());
            }
        }
        plant(&seeds(), &words);
    },
    |data: &[u8]| {
        let mut pieces = Pieces(data);
        let mode = pieces.byte();
        let edit = [pieces.byte(), pieces.byte(), pieces.byte()];
        let bytes = match mode % 4 {
            0 => pieces.0.to_vec(),
            1 => sealed(pieces.0, false),
            _ => sealed(pieces.0, true),
        };
        let Some(history) = accepted(&bytes, edit) else {
            return;
        };
        let edited = edited(&bytes, edit);
        match replay(&edited) {
            Ok(other) => assert!(
                history.starts_with(&other.history),
                "an edit became another history: {:?}",
                other.history
            ),
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
);

/// Puts a sound checksum behind every line; with `numbered`, the line's number into it too.
fn sealed(text: &[u8], numbered: bool) -> Vec<u8> {
    let mut chain = 0_u32;
    let mut journal = Vec::new();
    for (at, line) in text.split(|&byte| byte == b'\n').enumerate() {
        if line.is_empty() {
            continue;
        }
        let mut body = line.strip_suffix(b"}").unwrap_or(line).to_vec();
        if numbered && let Some(rest) = body.strip_prefix(br#"{"n":"#) {
            let digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
            body = [format!("{{\"n\":{}", at + 1).as_bytes(), &rest[digits..]].concat();
        }
        let mut digest = CRC.digest();
        digest.update(&chain.to_le_bytes());
        digest.update(&body);
        chain = digest.finalize();
        journal.extend_from_slice(&body);
        journal.extend_from_slice(format!(",\"sum\":\"{chain:08x}\"}}\n").as_bytes());
    }
    journal
}

/// One of the things that happen to a file; always another file.
fn edited(bytes: &[u8], [what, high, low]: [u8; 3]) -> Vec<u8> {
    let place = usize::from(u16::from_be_bytes([high, low]));
    let lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
    let line = place % lines.len();
    let at = place % bytes.len();
    let mut edited = bytes.to_vec();
    match what % 6 {
        0 => edited.truncate(at),
        1 => edited[at] ^= 1 << (place % 8),
        2 => drop(edited.remove(at)),
        3 => edited.insert(at, what),
        // A line goes, or comes once more.
        4 => return [&lines[..line], &lines[line + 1..]].concat().concat(),
        _ => return [&lines[..=line], &lines[line..]].concat().concat(),
    }
    edited
}

/// Reads the journal; what it holds, once everything that may be done with it has been done.
fn accepted(bytes: &[u8], seed: [u8; 3]) -> Option<Vec<Entry>> {
    let read = match replay(bytes) {
        Ok(read) => read,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            return None;
        }
    };
    assert!(read.sound <= bytes.len());
    let (sound, torn) = bytes.split_at(read.sound);
    assert_eq!(sound.last(), Some(&b'\n'));
    let lines = sound.iter().filter(|&&byte| byte == b'\n').count();
    assert_eq!(lines, read.history.len());
    assert!(!torn.iter().rev().skip(1).any(|&byte| byte == b'\n'));

    // Wherever a crash cuts it off, it is the same take as far as it goes.
    let cut = usize::from(u16::from_be_bytes([seed[1], seed[2]])) % bytes.len();
    match replay(&bytes[..cut]) {
        Ok(part) => assert!(read.history.starts_with(&part.history)),
        Err(JournalError::Empty) => assert!(cut < sound.len()),
        Err(error) => panic!("cut at {cut}: {error}"),
    }

    // The next run goes on with it.
    let mut disk = SimulatedDisk::default();
    disk.append(bytes).expect("memory");
    let mut journal = Journal::resume(Box::new(disk.clone()), stamp()).expect("it was read");
    assert_eq!(journal.state(), &read.state);
    assert_eq!(disk.bytes(), sound);
    let mut history = read.history.clone();
    let again = history.iter().rev().take(4).cloned().collect::<Vec<_>>();
    let number = u64::from(seed[0] % 4);
    let new = KINDS
        .iter()
        .filter_map(|kind| entry(&numbered(kind, number)));
    for entry in new.chain(again) {
        match journal.record(&entry) {
            Ok(()) => history.push(entry),
            Err(JournalError::OutOfOrder { .. }) => {}
            Err(error) => panic!("{error}"),
        }
    }
    let after = replay(&disk.bytes()).expect("it was just written");
    assert_eq!(after.sound, disk.bytes().len());
    assert_eq!(after.history, history);
    assert_eq!(&after.state, journal.state());
    Some(read.history)
}

fn stamp() -> Stamp {
    Box::new(|| jiff::Timestamp::UNIX_EPOCH)
}

fn entry(value: &Value) -> Option<Entry> {
    serde_json::from_value(value.clone()).ok()
}

/// The entry with every number replaced.
fn numbered(kind: &Value, number: u64) -> Value {
    match kind {
        Value::Number(_) => json!(number),
        Value::Object(fields) => {
            let each = |(name, value): (&String, &Value)| (name.clone(), numbered(value, number));
            Value::Object(fields.iter().map(each).collect())
        }
        Value::Array(values) => values.iter().map(|value| numbered(value, number)).collect(),
        other => other.clone(),
    }
}

/// One entry of every kind, from what serde says is missing.
fn kinds() -> Vec<Value> {
    let error = |value: &Value| {
        serde_json::from_value::<Entry>(value.clone())
            .err()
            .map(|error| error.to_string())
    };
    let names = error(&json!({ "kind": "?" })).expect("no kind is called so");
    let names = quoted(&names);
    assert!(
        names.len() > 2,
        "serde no longer names the kinds: {names:?}"
    );
    let complete = |name: &String| {
        let mut kind = json!({ "kind": name });
        while let Some(missing) = error(&kind) {
            let field = quoted(&missing).pop().expect("serde names the field");
            let better = |value: Value| {
                // In the entry itself, or in the last field where that is an object.
                let mut tried = Vec::new();
                let mut outer = kind.clone();
                outer[&field] = value.clone();
                tried.push(outer);
                for (name, inner) in kind.as_object().into_iter().flatten() {
                    if inner.is_object() {
                        let mut nested = kind.clone();
                        nested[name][&field] = value.clone();
                        tried.push(nested);
                    }
                }
                tried.into_iter().find(|tried| {
                    error(tried).is_none_or(|now| now != missing && now.contains("missing field"))
                })
            };
            match values(&kind, &field, &error).into_iter().find_map(better) {
                Some(found) => kind = found,
                // Not a fault of the journal's: the fuzzer still has the kind's name.
                None => {
                    eprintln!("no value found for `{field}` in {kind}");
                    return kind;
                }
            }
        }
        kind
    };
    names.iter().skip(1).map(complete).collect()
}

/// Values that a field may want; where it wants one of a few words, those.
fn values(kind: &Value, field: &str, error: &dyn Fn(&Value) -> Option<String>) -> Vec<Value> {
    let mut values = vec![
        json!(1),
        json!("0000000000000001"),
        json!("words"),
        json!(true),
        json!([[1, 1]]),
        json!(["words"]),
        json!([]),
        Value::Object(Map::new()),
    ];
    let mut kind = kind.clone();
    kind[field] = json!("?");
    let said = error(&kind).unwrap_or_default();
    if said.contains("expected one of") || said.contains("unknown variant") {
        values.extend(quoted(&said).into_iter().skip(1).map(Value::String));
    }
    values
}

/// What stands between backticks.
fn quoted(text: &str) -> Vec<String> {
    let parts = text.split('`').skip(1).step_by(2);
    parts.map(str::to_owned).collect()
}

/// Sound journals, written by the journal itself: of all entries that may come next, one of a kind
/// of which there are fewest.
fn seeds() -> Vec<Vec<u8>> {
    let mut seeds = Vec::new();
    for turn in 0..4 {
        // The first kind is the one that a journal begins with; here with two frames.
        let begun = numbered(&KINDS[0], 2).to_string();
        let first = format!("{{\"n\":1,\"at\":\"\",{}", &begun[1..]);
        let mut disk = SimulatedDisk::default();
        disk.append(&sealed(first.as_bytes(), false))
            .expect("memory");
        let resumed = Journal::resume(Box::new(disk.clone()), stamp());
        let mut journal = resumed.expect("a take of two frames");
        let mut used = vec![0; KINDS.len()];
        for _ in 0..24 {
            let mut order: Vec<usize> = (0..KINDS.len()).collect();
            order.rotate_left(turn * KINDS.len() / 4);
            order.sort_by_key(|&kind| used[kind]);
            let next = order.into_iter().find(|&kind| {
                let tries = fillings(&KINDS[kind]);
                let mut tries = tries.iter().filter_map(entry);
                used[kind] < 4 && tries.any(|entry| journal.record(&entry).is_ok())
            });
            match next {
                Some(kind) => used[kind] += 1,
                None => break,
            }
        }
        let written = disk.bytes();
        let bodies: Vec<Vec<u8>> = written
            .split(|&byte| byte == b'\n')
            .filter_map(|line| Some([line.get(..line.len().checked_sub(18)?)?, b"}\n"].concat()))
            .collect();
        let short = &bodies[..bodies.len().min(6)];
        seeds.push([&[0, 0, 0, 40], &written[..]].concat());
        seeds.push([&[1, 1, 1, 80], &bodies.concat()[..]].concat());
        seeds.push([&[2, 4, 0, 90], &bodies.concat()[..]].concat());
        seeds.push([&[2, 5, 0, 90], &short.concat()[..]].concat());
    }
    seeds
}

/// The entry with each of its numbers from 0 to 2, in every combination of up to four of them.
fn fillings(kind: &Value) -> Vec<Value> {
    let mut found = vec![kind.clone()];
    let fields = kind.as_object().into_iter().flatten();
    let numbers = fields.filter(|(_, value)| value.is_number());
    for (name, _) in numbers.take(4) {
        let each = |value: &Value| {
            let with = |number: u32| {
                let mut value = value.clone();
                value[name] = json!(number);
                value
            };
            [1, 2, 0].map(with)
        };
        found = found.iter().flat_map(each).collect();
    }
    found.extend([1, 2].map(|number| numbered(kind, number)));
    found
}
