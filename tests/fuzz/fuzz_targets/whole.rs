#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| windfall_fuzz::reader("whole").try_bytes(bytes));
