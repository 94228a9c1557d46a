//! Passwords: argon2id, kept as a PHC string.
//!
//! Cost: 19 MiB, two passes, one lane, the first choice of the OWASP Password Storage Cheat Sheet for argon2id (read 2026-11).
//! One check takes about as long for a name that nobody has, since [`nobody`] is checked then.

use std::sync::OnceLock;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Algorithm, Argon2, Params, Version};
use gritbook_core::{CoreError, ErrorKind};

use super::super::auth::random;

const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;

/// A tampered row must not make the depot take all memory or time.
const MOST_MEMORY_KIB: u32 = 1024 * 1024;
const MOST_PASSES: u32 = 16;
const MOST_LANES: u32 = 16;

/// Fewest and most characters of a password. No rule on kinds of characters: length is what counts.
const LENGTHS: std::ops::RangeInclusive<usize> = 12..=200;

/// Letters and figures that are not taken for one another when written down.
const LETTERS: &[u8; 31] = b"abcdefghjkmnpqrstuvwxyz23456789";
/// Characters of a generated password: 20 of 31 are 99 bits.
const GENERATED: usize = 20;

fn failed(cause: impl std::fmt::Display) -> CoreError {
    CoreError::new(ErrorKind::Internal, "not_sealed", format!("the password could not be sealed: {cause}"), "try again")
}

/// Seals a password: a PHC string `$argon2id$v=19$m=...,t=...,p=...$salt$hash`. Takes some hundredths of a second and 19 MiB.
///
/// # Errors
/// `bad_password` outside 12 to 200 characters; `not_sealed`, also where the system gives no random bits.
pub fn seal(password: &str) -> Result<String, CoreError> {
    let count = password.chars().count();
    if !LENGTHS.contains(&count) {
        return Err(CoreError::refused(
            "bad_password",
            format!("the password has {count} characters"),
            format!("use {} to {} characters; several words do well", LENGTHS.start(), LENGTHS.end()),
        ));
    }
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(failed)?;
    let sum = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    sum.hash_password(password.as_bytes()).map(|sealed| sealed.to_string()).map_err(failed)
}

/// Whether this is the sealed password. False for a text that is no seal.
pub fn matches(password: &str, sealed: &str) -> bool {
    let Ok(sealed) = PasswordHash::new(sealed) else { return false };
    let sane = Params::try_from(&sealed)
        .is_ok_and(|params| params.m_cost() <= MOST_MEMORY_KIB && params.t_cost() <= MOST_PASSES && params.p_cost() <= MOST_LANES);
    // Nobody has a longer password, and its length must not cost time.
    sane && password.chars().count() <= *LENGTHS.end() && Argon2::default().verify_password(password.as_bytes(), &sealed).is_ok()
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
    use base64::Engine as _;
    use base64::engine::general_purpose::STANDARD_NO_PAD;

    use super::*;

    /// RFC 9106, 5.3, has a key and associated data that are not used here; this value is of the reference program of
    /// the Password Hashing Competition (`argon2 somesalt -id -t 2 -m 16 -p 1 -l 32`, password `password`), test.c of
    /// its repository, read in 2026-11.
    #[test]
    fn sum_is_that_of_the_reference_program() {
        let hash = "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7";
        let bytes: Vec<u8> = (0..32).map(|at| u8::from_str_radix(&hash[2 * at..2 * at + 2], 16).unwrap()).collect();
        let sealed = format!("$argon2id$v=19$m=65536,t=2,p=1${}${}", STANDARD_NO_PAD.encode("somesalt"), STANDARD_NO_PAD.encode(bytes));
        assert!(matches("password", &sealed));
        assert!(!matches("passworx", &sealed));
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
