//! Passwords: argon2id, kept as a PHC string.
//!
//! Cost: 19 MiB, two passes, one lane, the first choice of the OWASP Password Storage Cheat Sheet for argon2id (read 2026-11).
//! One check takes about as long for a name that nobody has, since [`nobody`] is checked then.

use std::sync::OnceLock;

use argon2::{Algorithm, Argon2, Params, Version};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD_NO_PAD;
use gritbook_core::{CoreError, ErrorKind};
use subtle::ConstantTimeEq as _;

const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;
const HASH_BYTES: usize = 32;
const SALT_BYTES: usize = 16;

/// Fewest and most characters of a password. No rule on kinds of characters: length is what counts.
const LENGTHS: std::ops::RangeInclusive<usize> = 12..=200;

/// Letters and figures that are not taken for one another when written down.
const LETTERS: &[u8; 31] = b"abcdefghjkmnpqrstuvwxyz23456789";
/// Characters of a generated password: 20 of 31 are 99 bits.
const GENERATED: usize = 20;

fn failed(cause: impl std::fmt::Display) -> CoreError {
    CoreError::new(ErrorKind::Internal, "not_sealed", format!("the password could not be sealed: {cause}"), "try again")
}

fn random<const N: usize>() -> Result<[u8; N], CoreError> {
    let mut bits = [0_u8; N];
    getrandom::fill(&mut bits).map_err(|cause| {
        CoreError::new(ErrorKind::Internal, "no_randomness", format!("the system gives no random bits: {cause}"), "try again")
    })?;
    Ok(bits)
}

fn derive(password: &str, salt: &[u8], memory_kib: u32, passes: u32, lanes: u32) -> Result<[u8; HASH_BYTES], CoreError> {
    let params = Params::new(memory_kib, passes, lanes, Some(HASH_BYTES)).map_err(failed)?;
    let mut hash = [0; HASH_BYTES];
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params).hash_password_into(password.as_bytes(), salt, &mut hash).map_err(failed)?;
    Ok(hash)
}

/// Seals a password: a PHC string `$argon2id$v=19$m=...,t=...,p=...$salt$hash`. Takes some hundredths of a second and 19 MiB.
///
/// # Errors
/// `bad_password` outside 12 to 200 characters; `no_randomness`, `not_sealed`.
pub fn seal(password: &str) -> Result<String, CoreError> {
    let count = password.chars().count();
    if !LENGTHS.contains(&count) {
        return Err(CoreError::refused(
            "bad_password",
            format!("the password has {count} characters"),
            format!("use {} to {} characters; several words do well", LENGTHS.start(), LENGTHS.end()),
        ));
    }
    let salt = random::<SALT_BYTES>()?;
    let hash = derive(password, &salt, MEMORY_KIB, PASSES, LANES)?;
    let (salt, hash) = (STANDARD_NO_PAD.encode(salt), STANDARD_NO_PAD.encode(hash));
    Ok(format!("$argon2id$v=19$m={MEMORY_KIB},t={PASSES},p={LANES}${salt}${hash}"))
}

/// The parts of a PHC string of [`seal`]; none for any other text.
fn parts(sealed: &str) -> Option<(u32, u32, u32, Vec<u8>, Vec<u8>)> {
    let mut fields = sealed.strip_prefix("$argon2id$v=19$")?.split('$');
    let (costs, salt, hash) = (fields.next()?, fields.next()?, fields.next()?);
    let mut costs = costs.split(',').map(|cost| cost.split_once('='));
    let mut cost = |name: &str| costs.next().flatten().filter(|(known, _)| *known == name)?.1.parse().ok();
    let (memory, passes, lanes) = (cost("m")?, cost("t")?, cost("p")?);
    // A tampered row must not make the depot take all memory.
    let sane = memory <= 1024 * 1024 && passes <= 16 && lanes <= 16;
    sane.then_some((memory, passes, lanes, STANDARD_NO_PAD.decode(salt).ok()?, STANDARD_NO_PAD.decode(hash).ok()?))
}

/// Whether this is the sealed password. False for a text that is no seal.
pub fn matches(password: &str, sealed: &str) -> bool {
    let Some((memory, passes, lanes, salt, hash)) = parts(sealed) else { return false };
    // Nobody has such a password, and its length must not cost time.
    if password.chars().count() > *LENGTHS.end() {
        return false;
    }
    derive(password, &salt, memory, passes, lanes).is_ok_and(|found| bool::from(found.as_slice().ct_eq(hash.as_slice())))
}

/// A seal that no password opens, of the same cost as a real one: what is checked where the name is not known.
///
/// # Errors
/// As [`seal`] gives them.
pub fn nobody() -> Result<&'static str, CoreError> {
    static SEALED: OnceLock<String> = OnceLock::new();
    if let Some(sealed) = SEALED.get() {
        return Ok(sealed);
    }
    let sealed = seal(&generate()?)?;
    Ok(SEALED.get_or_init(|| sealed))
}

/// A password of four groups of five letters and figures, 99 random bits.
///
/// # Errors
/// `no_randomness`.
pub fn generate() -> Result<String, CoreError> {
    let mut letters = Vec::with_capacity(GENERATED);
    while letters.len() < GENERATED {
        // A number beyond the letters is thrown away, so that each letter is as likely as any other.
        let drawn = random::<GENERATED>()?;
        letters.extend(drawn.iter().filter_map(|bits| LETTERS.get(usize::from(bits % 32)).copied().map(char::from)));
    }
    letters.truncate(GENERATED);
    Ok(letters.chunks(5).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join("-"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9106, 5.3, has a key and associated data that are not used here; this value is of the reference program of
    /// the Password Hashing Competition (`argon2 somesalt -id -t 2 -m 16 -p 1 -l 32`, password `password`), test.c of
    /// its repository, read in 2026-11.
    #[test]
    fn sum_is_that_of_the_reference_program() {
        let hash = derive("password", b"somesalt", 1 << 16, 2, 1).unwrap();
        let hex: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7");
    }

    #[test]
    fn only_the_sealed_password_opens_the_seal_and_two_seals_differ() {
        let sealed = seal("correct horse battery").unwrap();
        assert!(sealed.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"));
        assert!(matches("correct horse battery", &sealed));
        assert!(!matches("correct horse batterz", &sealed) && !matches("", &sealed));
        assert_ne!(seal("correct horse battery").unwrap(), sealed);
        for broken in ["", "$argon2id$v=19$", "$argon2id$v=19$m=99999999,t=2,p=1$c29tZXNhbHQ$aGFzaA", "plain text"] {
            assert!(!matches("plain text", broken), "{broken}");
        }
    }

    #[test]
    fn short_and_endless_passwords_are_refused() {
        for password in ["", "elevenchars", &"x".repeat(201)] {
            assert_eq!(seal(password).unwrap_err().code(), "bad_password");
        }
        // Twelve letters, not twelve bytes.
        assert!(seal("ñandúñandúña").is_ok());
    }

    #[test]
    fn generated_passwords_are_long_and_differ() {
        let (one, other) = (generate().unwrap(), generate().unwrap());
        assert_ne!(one, other);
        assert_eq!(one.len(), 23);
        assert!(seal(&one).is_ok());
        // They go into forms, addresses and notes as they are.
        for _ in 0..200 {
            let made = generate().unwrap();
            assert!(made.split('-').all(|group| group.len() == 5 && group.bytes().all(|letter| LETTERS.contains(&letter))), "{made}");
        }
    }
}
