#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| gritbook_fuzz::photo(bytes));
