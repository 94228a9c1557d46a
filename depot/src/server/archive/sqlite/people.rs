//! [`People`] in SQLite.

use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::CoreError;
use gritbook_core::ids::{PumpId, Sha256Hex};
use gritbook_core::units::shown::UnitSystem;
use rusqlite::{Connection, OptionalExtension as _, Row, Transaction, params};

use super::super::people::{
    AUDIT_DAYS, Actor, AuditRow, Coded, Deed, Language, NewPerson, People, Person, Role, no_such_person, units_word,
};
use super::{SqliteArchive, Work, bad_column, unknown_word};

/// A session is noted as seen once a minute at most: not every page is a write.
const SEEN_EVERY_MS: i64 = 60_000;

/// What a change of a person came to.
enum Change {
    Done,
    NoSuchPerson,
    LastOwner,
}

fn settle(work: Work<Change>) -> Work<()> {
    Box::pin(async move {
        match work.await? {
            Change::Done => Ok(()),
            Change::NoSuchPerson => Err(no_such_person()),
            Change::LastOwner => Err(CoreError::refused(
                "last_owner",
                "no owner would be left, and nobody could let people and devices in",
                "make another person an owner first",
            )),
        }
    })
}

fn coded<T: Coded>(row: &Row<'_>, at: usize) -> rusqlite::Result<T> {
    let word: String = row.get(at)?;
    T::of(&word).ok_or_else(|| unknown_word(at, &word))
}

const PERSON_COLUMNS: &str = "person.n, person.name, person.role, person.language, person.units, person.added_ms";

fn person_row(row: &Row<'_>) -> rusqlite::Result<Person> {
    Ok(Person {
        number: row.get(0)?,
        name: row.get(1)?,
        role: coded(row, 2)?,
        language: coded(row, 3)?,
        units: coded(row, 4)?,
        pumps: Vec::new(),
        added: DateTime::from_timestamp_millis(row.get(5)?).unwrap_or_default(),
    })
}

fn with_pumps(connection: &Connection, mut person: Person) -> rusqlite::Result<Person> {
    let mut statement = connection.prepare_cached("SELECT pump FROM person_pump WHERE person = ?1 ORDER BY pump")?;
    let pumps = statement.query_map([person.number], |row| row.get::<_, String>(0))?;
    person.pumps = pumps.map(|pump| pump?.parse().map_err(|cause| bad_column(0, cause))).collect::<Result<_, _>>()?;
    Ok(person)
}

fn write_pumps(transaction: &Transaction<'_>, person: i64, pumps: &[PumpId]) -> rusqlite::Result<()> {
    transaction.execute("DELETE FROM person_pump WHERE person = ?1", [person])?;
    for pump in pumps {
        transaction.execute("INSERT OR IGNORE INTO person_pump (person, pump) VALUES (?1, ?2)", params![person, pump.to_string()])?;
    }
    Ok(())
}

/// Whether an owner is left besides `person`.
fn other_owner(transaction: &Transaction<'_>, person: i64) -> rusqlite::Result<bool> {
    let others = "SELECT EXISTS (SELECT 1 FROM person WHERE role = 'owner' AND removed_ms IS NULL AND n <> ?1)";
    transaction.query_row(others, [person], |row| row.get(0))
}

fn role_of(transaction: &Transaction<'_>, person: i64) -> rusqlite::Result<Option<Role>> {
    transaction.query_row("SELECT role FROM person WHERE n = ?1 AND removed_ms IS NULL", [person], |row| coded(row, 0)).optional()
}

/// Adds a row to the audit inside a change's own transaction.
pub(super) fn write_deed(transaction: &Transaction<'_>, deed: &Deed) -> rusqlite::Result<()> {
    let (kind, number) = match deed.by {
        Actor::Person(number) => ("person", Some(number)),
        Actor::Device(number) => ("device", Some(number)),
        Actor::Command => ("command", None),
        Actor::Nobody => ("nobody", None),
    };
    transaction
        .prepare_cached("INSERT INTO audit (at_ms, by_kind, by_n, what, about, reached) VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
        .execute(params![deed.at.timestamp_millis(), kind, number, deed.what, deed.about, deed.reached.word()])?;
    Ok(())
}

fn about_person(deed: Deed, number: i64) -> Deed {
    Deed { about: Some(format!("person {number}")), ..deed }
}

fn find_session(connection: &Connection, token: Sha256Hex, begun_ms: i64, seen_ms: i64) -> rusqlite::Result<Option<(Person, i64)>> {
    let sql = format!(
        "SELECT {PERSON_COLUMNS}, session.seen_ms FROM session JOIN person ON person.n = session.person
         WHERE token_sha256 = ?1 AND begun_ms > ?2 AND seen_ms > ?3 AND removed_ms IS NULL"
    );
    let found = connection
        .prepare_cached(&sql)?
        .query_row(params![token.as_bytes(), begun_ms, seen_ms], |row| Ok((person_row(row)?, row.get(6)?)))
        .optional()?;
    found.map(|(person, seen)| Ok((with_pumps(connection, person)?, seen))).transpose()
}

impl People for SqliteArchive {
    fn add_person(&self, new: NewPerson, deed: Deed) -> Work<i64> {
        let name = new.name.clone();
        let made = self.write("adding a person", move |transaction| {
            let key = new.name.to_lowercase();
            let taken = "SELECT EXISTS (SELECT 1 FROM person WHERE name_key = ?1 AND removed_ms IS NULL)";
            if transaction.query_row(taken, [&key], |row| row.get(0))? {
                return Ok(None);
            }
            transaction.execute(
                "INSERT INTO person (name, name_key, role, password, language, units, added_ms) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    new.name,
                    key,
                    new.role.word(),
                    new.password,
                    new.language.word(),
                    units_word(new.units),
                    deed.at.timestamp_millis()
                ],
            )?;
            let number = transaction.last_insert_rowid();
            write_pumps(transaction, number, &new.pumps)?;
            write_deed(transaction, &about_person(deed, number))?;
            Ok(Some(number))
        });
        Box::pin(async move {
            made.await?.ok_or_else(|| {
                CoreError::refused(
                    "name_taken",
                    format!("a person called `{name}` is in already"),
                    "choose another name, or take that person away first",
                )
            })
        })
    }

    fn people(&self) -> Work<Vec<Person>> {
        self.read("reading the people", |connection| {
            let sql = format!("SELECT {PERSON_COLUMNS} FROM person WHERE removed_ms IS NULL ORDER BY name_key");
            let found: Vec<Person> = connection.prepare(&sql)?.query_map([], person_row)?.collect::<Result<_, _>>()?;
            found.into_iter().map(|person| with_pumps(connection, person)).collect()
        })
    }

    fn any_person(&self) -> Work<bool> {
        self.read("looking whether anyone may sign in", |connection| {
            connection.prepare_cached("SELECT EXISTS (SELECT 1 FROM person WHERE removed_ms IS NULL)")?.query_row([], |row| row.get(0))
        })
    }

    fn person_by_name(&self, name: String) -> Work<Option<(Person, String)>> {
        self.read("looking up a person", move |connection| {
            let sql = format!("SELECT {PERSON_COLUMNS}, password FROM person WHERE name_key = ?1 AND removed_ms IS NULL");
            let found = connection.query_row(&sql, [name.to_lowercase()], |row| Ok((person_row(row)?, row.get(6)?))).optional()?;
            found.map(|(person, sealed)| Ok((with_pumps(connection, person)?, sealed))).transpose()
        })
    }

    fn set_role(&self, person: i64, role: Role, pumps: Vec<PumpId>, deed: Deed) -> Work<()> {
        settle(self.write("changing a person's role", move |transaction| {
            let Some(before) = role_of(transaction, person)? else { return Ok(Change::NoSuchPerson) };
            if before == Role::Owner && role != Role::Owner && !other_owner(transaction, person)? {
                return Ok(Change::LastOwner);
            }
            transaction.execute("UPDATE person SET role = ?2 WHERE n = ?1", params![person, role.word()])?;
            write_pumps(transaction, person, &pumps)?;
            write_deed(transaction, &about_person(deed, person))?;
            Ok(Change::Done)
        }))
    }

    fn set_password(&self, person: i64, sealed: String, keep: Option<Sha256Hex>, deed: Deed) -> Work<()> {
        settle(self.write("changing a password", move |transaction| {
            let changed =
                transaction.execute("UPDATE person SET password = ?2 WHERE n = ?1 AND removed_ms IS NULL", params![person, sealed])?;
            if changed == 0 {
                return Ok(Change::NoSuchPerson);
            }
            let keep = keep.map_or_else(Vec::new, |hash| hash.as_bytes().to_vec());
            transaction.execute("DELETE FROM session WHERE person = ?1 AND token_sha256 <> ?2", params![person, keep])?;
            write_deed(transaction, &about_person(deed, person))?;
            Ok(Change::Done)
        }))
    }

    fn set_choice(&self, person: i64, language: Language, units: UnitSystem) -> Work<()> {
        settle(self.write("noting a person's choice", move |transaction| {
            let sql = "UPDATE person SET language = ?2, units = ?3 WHERE n = ?1 AND removed_ms IS NULL";
            let changed = transaction.execute(sql, params![person, language.word(), units_word(units)])?;
            Ok(if changed == 0 { Change::NoSuchPerson } else { Change::Done })
        }))
    }

    fn remove_person(&self, person: i64, deed: Deed) -> Work<()> {
        settle(self.write("taking a person away", move |transaction| {
            let Some(role) = role_of(transaction, person)? else { return Ok(Change::NoSuchPerson) };
            if role == Role::Owner && !other_owner(transaction, person)? {
                return Ok(Change::LastOwner);
            }
            // Nothing is left to guess a password from.
            let sql = "UPDATE person SET removed_ms = ?2, password = '' WHERE n = ?1";
            transaction.execute(sql, params![person, deed.at.timestamp_millis()])?;
            transaction.execute("DELETE FROM session WHERE person = ?1", [person])?;
            write_deed(transaction, &about_person(deed, person))?;
            Ok(Change::Done)
        }))
    }

    fn begin_session(&self, token_hash: Sha256Hex, deed: Deed, begun_from: DateTime<Utc>, seen_from: DateTime<Utc>) -> Work<()> {
        self.write("beginning a session", move |transaction| {
            let Actor::Person(person) = deed.by else { return Ok(()) };
            let now_ms = deed.at.timestamp_millis();
            transaction.execute(
                "DELETE FROM session WHERE begun_ms <= ?1 OR seen_ms <= ?2",
                [begun_from.timestamp_millis(), seen_from.timestamp_millis()],
            )?;
            transaction.execute(
                "INSERT INTO session (token_sha256, person, begun_ms, seen_ms) VALUES (?1, ?2, ?3, ?3)",
                params![token_hash.as_bytes(), person, now_ms],
            )?;
            write_deed(transaction, &deed)
        })
    }

    fn session(
        &self,
        token_hash: Sha256Hex,
        seen_at: Option<DateTime<Utc>>,
        begun_from: DateTime<Utc>,
        seen_from: DateTime<Utc>,
    ) -> Work<Option<Person>> {
        let (begun_ms, seen_ms) = (begun_from.timestamp_millis(), seen_from.timestamp_millis());
        let found = self.read("looking up a session", move |connection| find_session(connection, token_hash, begun_ms, seen_ms));
        let writer = self.clone();
        Box::pin(async move {
            let Some((person, seen)) = found.await? else { return Ok(None) };
            if let Some(now_ms) = seen_at.map(|at| at.timestamp_millis()).filter(|now_ms| now_ms - seen >= SEEN_EVERY_MS) {
                let seen = writer.write("noting that a session was seen", move |transaction| {
                    transaction.execute("UPDATE session SET seen_ms = ?2 WHERE token_sha256 = ?1", params![token_hash.as_bytes(), now_ms])
                });
                // A full disk must not shut readers out: the session then only ends earlier.
                if let Err(error) = seen.await {
                    tracing::warn!(code = error.code(), "a session could not be noted as seen");
                }
            }
            Ok(Some(person))
        })
    }

    fn end_session(&self, token_hash: Sha256Hex, deed: Deed) -> Work<()> {
        self.write("ending a session", move |transaction| {
            transaction.execute("DELETE FROM session WHERE token_sha256 = ?1", [token_hash.as_bytes()])?;
            write_deed(transaction, &deed)
        })
    }

    fn note(&self, deed: Deed) -> Work<()> {
        self.write("writing the audit", move |transaction| write_deed(transaction, &deed))
    }

    fn audit(&self, before: Option<i64>, limit: u32) -> Work<Vec<AuditRow>> {
        self.read("reading the audit", move |connection| {
            let mut statement = connection.prepare_cached(
                "SELECT audit.n, at_ms, coalesce(person.name, device.name), by_kind, what, about, reached,
                     CASE WHEN about LIKE 'person %' THEN (SELECT name FROM person WHERE n = CAST(substr(about, 8) AS INTEGER))
                          WHEN about LIKE 'device %' THEN (SELECT name FROM device WHERE n = CAST(substr(about, 8) AS INTEGER)) END
                 FROM audit
                 LEFT JOIN person ON by_kind = 'person' AND person.n = by_n
                 LEFT JOIN device ON by_kind = 'device' AND device.n = by_n
                 WHERE audit.n < ?1 ORDER BY audit.n DESC LIMIT ?2",
            )?;
            let rows = statement.query_map(params![before.unwrap_or(i64::MAX), limit], |row| {
                Ok(AuditRow {
                    number: row.get(0)?,
                    at: DateTime::from_timestamp_millis(row.get(1)?).unwrap_or_default(),
                    name: row.get(2)?,
                    by: row.get(3)?,
                    what: row.get(4)?,
                    about: row.get(5)?,
                    reached: row.get(6)?,
                    about_name: row.get(7)?,
                })
            })?;
            rows.collect()
        })
    }

    fn forget_old_audit(&self, now: DateTime<Utc>) -> Work<()> {
        self.write("forgetting old audit rows", move |transaction| {
            let before = now - TimeDelta::days(AUDIT_DAYS);
            transaction.execute("DELETE FROM audit WHERE at_ms < ?1", [before.timestamp_millis()])?;
            Ok(())
        })
    }
}
