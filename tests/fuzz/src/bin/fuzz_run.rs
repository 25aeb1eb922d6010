//! Tries readers with changed files, without a nightly compiler: the same numbers in the same order for
//! the same seed. What an input was stands in a file before it is tried, so that it is there when the
//! program is ended from outside, as where it asks for more memory than it may have.
//!
//! `fuzz_run SECONDS SEED [READER...]`

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::exit;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use std::{env, fs, thread};

use windfall::random::SplitMix;
use windfall_fuzz::{READERS, Reader, reader};

/// How long one input may keep the processor busy.
const PATIENCE: Duration = Duration::from_secs(2);
/// How much longer it may take on a machine that others keep busy.
const BUSY: u32 = 30;

/// When the input of now began, ms after the program; 0 between inputs.
static BEGAN_MS: AtomicU64 = AtomicU64::new(0);
/// The processor's time until then, ms.
static BEGAN_CPU_MS: AtomicU64 = AtomicU64::new(0);

fn main() {
    let args: Vec<String> = env::args().skip(1).collect();
    let number = |i: usize| args.get(i).and_then(|text| text.parse::<u64>().ok());
    let (Some(seconds), Some(seed)) = (number(0), number(1)) else {
        eprintln!("expected SECONDS SEED [READER...]");
        exit(2);
    };
    let readers: Vec<&Reader> = match &args[2..] {
        [] => READERS.iter().collect(),
        names => names.iter().map(|name| reader(name)).collect(),
    };
    let started = Instant::now();
    thread::spawn(move || watch(started));
    for reader in readers {
        let tried = try_reader(reader, Duration::from_secs(seconds), seed, started);
        println!("{:15} {tried:8} inputs", reader.name);
    }
}

/// Where the input of now is kept.
fn current(reader: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("artifacts/{reader}.input"))
}

/// Ends the program when one input takes too long.
fn watch(started: Instant) {
    loop {
        thread::sleep(Duration::from_millis(50));
        let began = BEGAN_MS.load(Ordering::Relaxed);
        let took = (started.elapsed().as_millis() as u64).saturating_sub(began);
        let busy = cpu_ms().map(|now| now.saturating_sub(BEGAN_CPU_MS.load(Ordering::Relaxed)));
        let most = PATIENCE.as_millis() as u64;
        if began > 0 && (busy.unwrap_or(took) > most || took > most * u64::from(BUSY)) {
            eprintln!("an input takes longer than {PATIENCE:?}; see tests/fuzz/artifacts");
            exit(1);
        }
    }
}

/// The processor's time of this program, ms, where the system tells; by the hundredth of a second.
fn cpu_ms() -> Option<u64> {
    let stat = fs::read_to_string("/proc/self/stat").ok()?;
    // After the name, which may hold anything: fields 14 and 15 of proc(5).
    let (_, fields) = stat.rsplit_once(')')?;
    let ticks = fields.split_ascii_whitespace().skip(11).take(2);
    Some(10 * ticks.filter_map(|text| text.parse::<u64>().ok()).sum::<u64>())
}

fn try_reader(reader: &Reader, how_long: Duration, seed: u64, started: Instant) -> u64 {
    let seeds = reader.seeds();
    assert!(!seeds.is_empty(), "{} has nothing to begin from", reader.name);
    let kept = current(reader.name);
    fs::create_dir_all(kept.parent().unwrap()).unwrap();
    let (begun, mut tried) = (Instant::now(), 0);
    while begun.elapsed() < how_long {
        let mut random = SplitMix::stream(seed, tried);
        // The files as they are come first.
        let bytes = match seeds.get(tried as usize) {
            Some(whole) => whole.clone(),
            None => changed(&seeds, &mut random),
        };
        fs::write(&kept, &bytes).unwrap();
        BEGAN_CPU_MS.store(cpu_ms().unwrap_or(0), Ordering::Relaxed);
        BEGAN_MS.store(started.elapsed().as_millis().max(1) as u64, Ordering::Relaxed);
        if catch_unwind(AssertUnwindSafe(|| reader.try_bytes(&bytes))).is_err() {
            eprintln!("{}: a panic; the input is {}", reader.name, kept.display());
            exit(1);
        }
        BEGAN_MS.store(0, Ordering::Relaxed);
        tried += 1;
    }
    let _ = fs::remove_file(kept);
    tried
}

/// Numbers that readers stumble over.
const ODD: [u64; 14] = [
    0, 1, 2, 0x7f, 0x80, 0xff, 0x7fff, 0x8000, 0xffff, 0x7fff_ffff, 0x8000_0000, 0xffff_ffff,
    0x7fff_ffff_ffff_ffff, u64::MAX,
];
/// Texts likewise.
const WORDS: [&[u8]; 14] = [
    b"-", b"1e308", b"NaN", b"-9999", b"0", b"99999999999999999999", b"\"", b"\n", b",", b"[[[[[[[[",
    b"{", b"\xff", b"1970-01-01T00:00:00Z", b"null",
];

/// One of the files with a few changes.
fn changed(seeds: &[Vec<u8>], random: &mut SplitMix) -> Vec<u8> {
    let mut below = |n: usize| (random.next_u64() % n.max(1) as u64) as usize;
    let mut bytes = seeds[below(seeds.len())].clone();
    for _ in 0..=below(8) {
        let at = below(bytes.len());
        match below(9) {
            0 => flip(&mut bytes, at, below(8)),
            1 => over(&mut bytes, at, &[below(256) as u8]),
            2 => over(&mut bytes, at, &ODD[below(ODD.len())].to_le_bytes()[..1 << below(4)]),
            3 => {
                let size = 1 << below(4);
                over(&mut bytes, at, &ODD[below(ODD.len())].to_be_bytes()[8 - size..]);
            }
            4 => bytes.truncate(at),
            5 => drop(bytes.drain(at..(at + 1 + below(64)).min(bytes.len()).max(at))),
            6 => {
                let end = (at + 1 + below(256)).min(bytes.len());
                let again = bytes[at.min(end)..end].to_vec();
                bytes.splice(at..at, again);
            }
            7 => drop(bytes.splice(at..at, WORDS[below(WORDS.len())].iter().copied())),
            _ => {
                let other = &seeds[below(seeds.len())];
                let from = below(other.len());
                let end = (from + 1 + below(512)).min(other.len());
                over(&mut bytes, at, &other[from.min(end)..end]);
            }
        }
    }
    bytes
}

fn flip(bytes: &mut [u8], at: usize, bit: usize) {
    if let Some(byte) = bytes.get_mut(at) {
        *byte ^= 1 << bit;
    }
}

/// Writes over what stands there, as far as there is something.
fn over(bytes: &mut [u8], at: usize, with: &[u8]) {
    let rest = bytes.get_mut(at..).unwrap_or_default();
    rest.iter_mut().zip(with).for_each(|(byte, new)| *byte = *new);
}
