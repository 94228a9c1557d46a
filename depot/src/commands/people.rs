//! `gritbook people`: who may sign in at a depot's pages. Works beside a running depot.

use std::io::{BufRead as _, Read as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, SecondsFormat, Utc};
use gritbook_core::ids::PumpId;
use gritbook_core::model::{Entry, EntryBody};
use gritbook_core::units::shown::UnitSystem;
use gritbook_core::{CoreError, ErrorKind};
use schemars::JsonSchema;
use serde::Serialize;

use super::enroll::{deed, finish};
use super::{Failure, Run, say, say_document};
use crate::server::Places;
use crate::server::archive::people::{Language, NewPerson, People as _, Person, Role, no_such_person, units_word};
use crate::server::archive::{Archive as _, SqliteArchive};
use crate::server::backup::no_archive;
use crate::server::people::{checked_name, generate, made, seal};

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: gritbook people add --data depot-data --name Rosa --role owner

         gritbook people add --data depot-data --name Luis --role mechanic --pump Otter --language es
         gritbook people password --data depot-data --name Rosa --password-stdin < password.txt

Without --password-stdin the password is made here and shown this once. The depot keeps it sealed (argon2id). As long as
nobody was added, a depot on loopback shows its pages to whoever sits at it; from the first person on they ask to sign in.
Mechanics read the pages of the pumps named for them, office reads everything and exports, owners also let people and
devices in and out. Nobody changes what a device wrote.")]
pub struct Args {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, clap::Subcommand)]
enum Verb {
    /// Add a person.
    Add(Add),
    /// Who may sign in.
    List(Where),
    /// Give a person another role, or a mechanic other pumps.
    Role(RoleOf),
    /// Give a person a new password; signs them out everywhere.
    Password(Password),
    /// Take a person away; signs them out everywhere.
    Remove(Named),
}

#[derive(Debug, clap::Args)]
struct Where {
    /// The depot's data folder.
    #[arg(long, visible_alias = "dir", value_name = "DIR")]
    data: PathBuf,
    /// Print one JSON document.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
struct Named {
    #[command(flatten)]
    at: Where,
    /// The name to sign in with: 1 to 60 characters.
    #[arg(long)]
    name: String,
}

#[derive(Debug, clap::Args)]
struct Secret {
    /// Read the password from the first line of standard input: 12 to 200 characters.
    #[arg(long)]
    password_stdin: bool,
}

#[derive(Debug, clap::Args)]
struct Add {
    #[command(flatten)]
    who: Named,
    #[command(flatten)]
    secret: Secret,
    /// What the person may do.
    #[arg(long, value_enum)]
    role: Role,
    /// A pump that a mechanic may read about, by name or id; again for more.
    #[arg(long = "pump", value_name = "PUMP")]
    pumps: Vec<String>,
    /// Language of the pages; the person may choose another.
    #[arg(long, value_enum, default_value_t)]
    language: Language,
    /// Units of the pages; the person may choose others.
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

#[derive(Debug, clap::Args)]
struct RoleOf {
    #[command(flatten)]
    who: Named,
    /// What the person may do from now on.
    #[arg(long, value_enum)]
    role: Role,
    /// A pump that a mechanic may read about, by name or id; again for more. What is not named is taken away.
    #[arg(long = "pump", value_name = "PUMP")]
    pumps: Vec<String>,
}

#[derive(Debug, clap::Args)]
struct Password {
    #[command(flatten)]
    who: Named,
    #[command(flatten)]
    secret: Secret,
}

#[derive(Debug, Clone, Copy, Default, clap::ValueEnum)]
enum Units {
    /// mm, m3, bar.
    #[default]
    Metric,
    /// in, yd3, psi.
    Inch,
}

/// A person was added, changed or taken away.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PersonChanged {
    /// Always `gritbook.person/1`.
    schema: &'static str,
    /// The name to sign in with.
    name: String,
    /// What the person may do; null once taken away.
    role: Option<String>,
    /// The password that was made, shown this once.
    #[serde(skip_serializing_if = "Option::is_none")]
    password: Option<String>,
    /// True where the person was taken away.
    removed: bool,
}

/// Who may sign in.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PeopleList {
    /// Always `gritbook.people/1`.
    schema: &'static str,
    /// By name.
    people: Vec<ListedPerson>,
}

/// One person.
#[derive(Debug, Serialize, JsonSchema)]
struct ListedPerson {
    /// The name to sign in with.
    name: String,
    /// mechanic, office or owner.
    role: String,
    /// en or es.
    language: String,
    /// metric or inch.
    units: String,
    /// Whose pages a mechanic may read.
    pumps: Vec<PumpId>,
    /// RFC 3339.
    added_at: String,
}

impl Run for Args {
    fn json(&self) -> bool {
        match &self.verb {
            Verb::Add(Add { who, .. }) | Verb::Role(RoleOf { who, .. }) | Verb::Password(Password { who, .. }) | Verb::Remove(who) => {
                who.at.json
            }
            Verb::List(at) => at.json,
        }
    }

    fn run(self) -> Result<(), Failure> {
        match self.verb {
            Verb::Add(args) => args.run(),
            Verb::List(at) => list(&at),
            Verb::Role(args) => args.run(),
            Verb::Password(args) => args.run(),
            Verb::Remove(who) => remove(&who),
        }
    }
}

impl Where {
    /// A mistyped folder must not become a new, empty archive.
    fn archive(&self) -> Result<SqliteArchive, CoreError> {
        if !Places::of(&self.data)?.database.exists() {
            return Err(no_archive(&self.data));
        }
        SqliteArchive::open(&self.data)
    }
}

impl Secret {
    /// The password, and whether it was made here.
    fn take(&self) -> Result<(String, bool), CoreError> {
        if !self.password_stdin {
            return Ok((generate()?, true));
        }
        let mut line = String::new();
        std::io::stdin().lock().take(4096).read_line(&mut line).map_err(|cause| {
            CoreError::refused("bad_password", "no password can be read from standard input", "give it as one line of text").because(cause)
        })?;
        Ok((line.trim_end_matches(['\r', '\n']).to_owned(), false))
    }
}

impl Add {
    fn run(self) -> Result<(), Failure> {
        let name = checked_name(&self.who.name)?;
        let (password, made) = self.secret.take()?;
        let sealed = seal(&password)?;
        make_folder(&self.who.at.data)?;
        let archive = SqliteArchive::open(&self.who.at.data)?;
        let pumps = find_pumps(&archive, &self.pumps)?;
        let units = match self.units {
            Units::Metric => UnitSystem::Metric,
            Units::Inch => UnitSystem::Inch,
        };
        let new = NewPerson { name: name.clone(), role: self.role, password: sealed, language: self.language, units, pumps };
        finish(archive.add_person(new, deed("person_added")))?;
        let said = format!("{name} may sign in as {}.", self.role.word());
        tell(&self.who.at, name, Some(self.role), made.then_some(password), &said)?;
        if !self.who.at.json && self.role == Role::Mechanic && self.pumps.is_empty() {
            say("No pump was named, so there is nothing to read yet: gritbook people role ... --pump NAME");
        }
        Ok(())
    }
}

impl RoleOf {
    fn run(self) -> Result<(), Failure> {
        let archive = self.who.at.archive()?;
        let person = find(&archive, &self.who.name)?;
        let pumps = find_pumps(&archive, &self.pumps)?;
        finish(archive.set_role(person.number, self.role, pumps, deed(made(self.role))))?;
        let said = format!("{} is {} from now on.", person.name, self.role.word());
        tell(&self.who.at, person.name, Some(self.role), None, &said)
    }
}

impl Password {
    fn run(self) -> Result<(), Failure> {
        let archive = self.who.at.archive()?;
        let person = find(&archive, &self.who.name)?;
        let (password, made) = self.secret.take()?;
        finish(archive.set_password(person.number, seal(&password)?, None, deed("password_changed")))?;
        let said = format!("{} has a new password and is signed out everywhere.", person.name);
        tell(&self.who.at, person.name, Some(person.role), made.then_some(password), &said)
    }
}

fn remove(who: &Named) -> Result<(), Failure> {
    let archive = who.at.archive()?;
    let person = find(&archive, &who.name)?;
    finish(archive.remove_person(person.number, deed("person_removed")))?;
    let said = format!("{} cannot sign in any more. What the audit says stays.", person.name);
    tell(&who.at, person.name, None, None, &said)
}

fn tell(at: &Where, name: String, role: Option<Role>, password: Option<String>, said: &str) -> Result<(), Failure> {
    if at.json {
        let role = role.map(|role| role.word().to_owned());
        return say_document(&PersonChanged { schema: "gritbook.person/1", name, removed: role.is_none(), role, password });
    }
    say(said);
    if let Some(password) = password {
        say(format_args!("password  {password}"));
        say("It is not shown again.");
    }
    Ok(())
}

fn list(at: &Where) -> Result<(), Failure> {
    let people = finish(at.archive()?.people())?;
    if at.json {
        let people = people.into_iter().map(ListedPerson::from).collect();
        return say_document(&PeopleList { schema: "gritbook.people/1", people });
    }
    if people.is_empty() {
        say("Nobody may sign in yet: gritbook people add --data DIR --name NAME --role owner");
    }
    for person in people {
        let pumps = match (person.role, person.pumps.len()) {
            (Role::Mechanic, 1) => ", 1 pump".to_owned(),
            (Role::Mechanic, count) => format!(", {count} pumps"),
            _ => String::new(),
        };
        say(format_args!("{}  {}{pumps}", person.name, person.role.word()));
    }
    Ok(())
}

impl From<Person> for ListedPerson {
    fn from(person: Person) -> Self {
        Self {
            name: person.name,
            role: person.role.word().to_owned(),
            language: person.language.word().to_owned(),
            units: units_word(person.units).to_owned(),
            pumps: person.pumps,
            added_at: DateTime::<Utc>::to_rfc3339_opts(&person.added, SecondsFormat::Secs, true),
        }
    }
}

fn make_folder(data: &Path) -> Result<(), CoreError> {
    std::fs::create_dir_all(data).map_err(|cause| {
        CoreError::refused("bad_folder", format!("`{}` cannot be made", data.display()), "choose another folder").because(cause)
    })
}

fn find(archive: &SqliteArchive, name: &str) -> Result<Person, CoreError> {
    finish(archive.person_by_name(name.trim().to_owned()))?.map(|(person, _)| person).ok_or_else(no_such_person)
}

/// Pumps by id or by the name that their newest figures give.
fn find_pumps(archive: &SqliteArchive, asked: &[String]) -> Result<Vec<PumpId>, CoreError> {
    if asked.is_empty() {
        return Ok(Vec::new());
    }
    let known = finish(archive.pumps(0))?;
    let named = |name: &str| {
        known.iter().find(|page| {
            let set = page.set.as_deref().and_then(|doc| serde_json::from_str::<Entry>(doc).ok());
            matches!(set.map(|entry| entry.body), Some(EntryBody::PumpSet(spec)) if spec.name == name)
        })
    };
    let by_id = |text: &str| text.parse().ok().filter(|id| known.iter().any(|page| page.pump == *id));
    asked.iter().map(|text| by_id(text).or_else(|| named(text).map(|page| page.pump)).ok_or_else(|| no_such_pump(text))).collect()
}

fn no_such_pump(text: &str) -> CoreError {
    CoreError::new(
        ErrorKind::NotFound,
        "no_such_pump",
        format!("the depot has no entry of a pump `{text}`"),
        "use a pump's name as the page shows it, or its id",
    )
}
