#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| windfall_fuzz::reader("part").try_bytes(bytes));
