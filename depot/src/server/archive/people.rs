//! What the archive knows of people: who may sign in, their sessions, and who saw and changed what.

use chrono::{DateTime, Utc};
use gritbook_core::ids::{PumpId, Sha256Hex};
use gritbook_core::units::shown::UnitSystem;
use gritbook_core::{CoreError, ErrorKind};

use super::Work;

/// How long an audit row is kept, days. The schema's trigger holds it too.
pub const AUDIT_DAYS: i64 = 400;

/// What a person may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, clap::ValueEnum)]
pub enum Role {
    /// Reads the pages of the pumps that were named for this person.
    Mechanic,
    /// Reads everything and exports; changes nothing that a device wrote.
    Office,
    /// The same, and lets people and devices in and out.
    Owner,
}

/// The language of the pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Language {
    /// English.
    #[default]
    En,
    /// Spanish.
    Es,
}

/// Words of the database and of forms for a choice.
pub(crate) trait Coded: Sized + Copy + 'static {
    /// Each choice with its word.
    const ALL: &'static [(Self, &'static str)];

    /// The choice of a word.
    fn of(word: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, known)| *known == word).map(|(choice, _)| *choice)
    }
}

impl Coded for Role {
    const ALL: &'static [(Self, &'static str)] = &[(Self::Mechanic, "mechanic"), (Self::Office, "office"), (Self::Owner, "owner")];
}

impl Role {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mechanic => "mechanic",
            Self::Office => "office",
            Self::Owner => "owner",
        }
    }
}

impl Coded for Language {
    const ALL: &'static [(Self, &'static str)] = &[(Self::En, "en"), (Self::Es, "es")];
}

impl Language {
    /// Its word, as BCP 47 has it.
    pub fn word(self) -> &'static str {
        match self {
            Self::En => "en",
            Self::Es => "es",
        }
    }
}

impl Coded for UnitSystem {
    const ALL: &'static [(Self, &'static str)] = &[(Self::Metric, "metric"), (Self::Inch, "inch")];
}

/// The word of a system of units.
pub(crate) fn units_word(units: UnitSystem) -> &'static str {
    match units {
        UnitSystem::Metric => "metric",
        UnitSystem::Inch => "inch",
    }
}

/// The person is not there.
pub(crate) fn no_such_person() -> CoreError {
    CoreError::new(ErrorKind::NotFound, "no_such_person", "nobody of this name may sign in", "use a name that `gritbook people list` shows")
}

/// Someone who may sign in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// The archive's own number.
    pub number: i64,
    /// The name to sign in with.
    pub name: String,
    /// What this person may do.
    pub role: Role,
    /// Language of the pages.
    pub language: Language,
    /// Units of the pages.
    pub units: UnitSystem,
    /// Whose pages a mechanic may read.
    pub pumps: Vec<PumpId>,
    /// When the person was added.
    pub added: DateTime<Utc>,
}

/// Someone to add.
#[derive(Debug, Clone)]
pub struct NewPerson {
    /// The name to sign in with, checked.
    pub name: String,
    /// What this person may do.
    pub role: Role,
    /// The sealed password ([`crate::server::people::seal`]).
    pub password: String,
    /// Language of the pages.
    pub language: Language,
    /// Units of the pages.
    pub units: UnitSystem,
    /// Whose pages a mechanic may read.
    pub pumps: Vec<PumpId>,
}

/// Who did something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Actor {
    /// A person by number.
    Person(i64),
    /// A device by number.
    Device(i64),
    /// Whoever has the data folder, by command.
    Command,
    /// Nobody who is known.
    Nobody,
}

/// From what kind of address it was done. The address itself is not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reached {
    /// Loopback, or a command.
    ThisMachine,
    /// An address of a private network.
    Private,
    /// Any other address.
    Public,
    /// Not known.
    Unknown,
}

impl Coded for Reached {
    const ALL: &'static [(Self, &'static str)] =
        &[(Self::ThisMachine, "this_machine"), (Self::Private, "private"), (Self::Public, "public"), (Self::Unknown, "unknown")];
}

impl Reached {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::ThisMachine => "this_machine",
            Self::Private => "private",
            Self::Public => "public",
            Self::Unknown => "unknown",
        }
    }
}

/// One thing done, for the audit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deed {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: Actor,
    /// What: a word of [`crate::server::people::DEEDS`].
    pub what: &'static str,
    /// To what.
    pub about: Option<String>,
    /// From where.
    pub reached: Reached,
}

/// One row of the audit, as the page shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditRow {
    /// Its number.
    pub number: i64,
    /// When.
    pub at: DateTime<Utc>,
    /// Name of the person or device; none where nobody was known or it was a command.
    pub name: Option<String>,
    /// Kind of actor, as the database has it.
    pub by: String,
    /// What was done.
    pub what: String,
    /// To what, as the database has it.
    pub about: Option<String>,
    /// Name of the person or device that it was done to.
    pub about_name: Option<String>,
    /// From what kind of address.
    pub reached: String,
}

/// People, sessions and the audit. Every change writes its audit row in the same transaction.
pub trait People {
    /// Adds a person.
    ///
    /// # Errors
    /// `name_taken`.
    fn add_person(&self, new: NewPerson, deed: Deed) -> Work<i64>;

    /// Everyone who may sign in, by name.
    fn people(&self) -> Work<Vec<Person>>;

    /// Whether anyone may sign in.
    fn any_person(&self) -> Work<bool>;

    /// A person by name, in any case, with the sealed password.
    fn person_by_name(&self, name: String) -> Work<Option<(Person, String)>>;

    /// Gives a person a role and, for a mechanic, pumps. What the person's sessions may do changes at once.
    ///
    /// # Errors
    /// `no_such_person`; `last_owner` where no owner would be left.
    fn set_role(&self, person: i64, role: Role, pumps: Vec<PumpId>, deed: Deed) -> Work<()>;

    /// Gives a person another password and ends every session of theirs but `keep`.
    ///
    /// # Errors
    /// `no_such_person`.
    fn set_password(&self, person: i64, sealed: String, keep: Option<Sha256Hex>, deed: Deed) -> Work<()>;

    /// Language and units of a person's pages.
    ///
    /// # Errors
    /// `no_such_person`.
    fn set_choice(&self, person: i64, language: Language, units: UnitSystem) -> Work<()>;

    /// Takes a person away and ends their sessions. What the audit says of them stays.
    ///
    /// # Errors
    /// `no_such_person`; `last_owner` where no owner would be left.
    fn remove_person(&self, person: i64, deed: Deed) -> Work<()>;

    /// Begins a session under the hash of its cookie; sessions begun before `begun_from` or silent since `seen_from` are forgotten.
    fn begin_session(&self, token_hash: Sha256Hex, deed: Deed, begun_from: DateTime<Utc>, seen_from: DateTime<Utc>) -> Work<()>;

    /// Whose session this is, where it was begun after `begun_from` and seen after `seen_from`. It is noted as seen at `seen_at`, to the
    /// minute; without that it is only looked up, and ends no later for it.
    fn session(
        &self,
        token_hash: Sha256Hex,
        seen_at: Option<DateTime<Utc>>,
        begun_from: DateTime<Utc>,
        seen_from: DateTime<Utc>,
    ) -> Work<Option<Person>>;

    /// Ends a session; it is no error where there is none.
    fn end_session(&self, token_hash: Sha256Hex, deed: Deed) -> Work<()>;

    /// Adds a row to the audit.
    fn note(&self, deed: Deed) -> Work<()>;

    /// Up to `limit` rows of the audit, newest first, before row `before`.
    fn audit(&self, before: Option<i64>, limit: u32) -> Work<Vec<AuditRow>>;

    /// Forgets audit rows older than [`AUDIT_DAYS`].
    fn forget_old_audit(&self, now: DateTime<Utc>) -> Work<()>;
}
