#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| windfall_fuzz::reader("walk").try_bytes(bytes));
