//! The tables' history: an append-only list, counted by the file's `user_version`.
//!
//! Rules: never edit or remove an entry that has been handed out; each runs in a transaction of its
//! own, with its number, so that a migration cut short leaves the version before it.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::Trouble;

/// Every migration, oldest first; the first makes the tables.
pub(crate) const MIGRATIONS: &[&str] = &[include_str!("migrations/1.sql")];

/// Marks a file as a logbook: the letters `BELM`, at byte 68 of the file.
pub(crate) const APPLICATION_ID: i64 = 0x4245_4c4d;

/// The version of a file's tables.
pub(crate) fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, "user_version", |row| row.get(0))
}

/// Brings the tables from whatever version they have to the end of `list`.
pub(crate) fn run(connection: &mut Connection, list: &[&str]) -> Result<(), Trouble> {
    let done = usize::try_from(version(connection)?).unwrap_or(0);
    for (index, migration) in list.iter().enumerate().skip(done) {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        transaction.execute_batch(migration)?;
        transaction.pragma_update(None, "user_version", index as i64 + 1)?;
        transaction.commit()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Error, Logbook};

    fn tables(connection: &Connection) -> Vec<String> {
        let mut statement = connection.prepare("SELECT name FROM sqlite_schema ORDER BY name").unwrap();
        statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    }

    #[test]
    fn each_migration_runs_once() {
        let mut connection = Connection::open_in_memory().unwrap();
        let list = ["CREATE TABLE a (x INTEGER) STRICT", "CREATE TABLE b (x INTEGER) STRICT"];
        run(&mut connection, &list[..1]).unwrap();
        assert_eq!((version(&connection).unwrap(), tables(&connection)), (1, vec!["a".to_string()]));
        run(&mut connection, &list).unwrap();
        run(&mut connection, &list).unwrap();
        assert_eq!((version(&connection).unwrap(), tables(&connection).len()), (2, 2));
    }

    #[test]
    fn a_migration_that_fails_leaves_the_version_before_it() {
        let mut connection = Connection::open_in_memory().unwrap();
        let list =
            ["CREATE TABLE a (x INTEGER) STRICT", "CREATE TABLE b (x INTEGER) STRICT; CREATE TABLE a (y)"];
        assert!(run(&mut connection, &list).is_err());
        assert_eq!((version(&connection).unwrap(), tables(&connection)), (1, vec!["a".to_string()]));
    }

    /// The tables of every version that was handed out, as dumped then.
    const HANDED_OUT: &[&str] = &[include_str!("../tests/schemas/1.sql")];

    fn definitions(connection: &Connection) -> Vec<String> {
        let mut statement =
            connection.prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name").unwrap();
        statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    }

    #[test]
    fn pinned_no_migration_that_was_handed_out_was_edited() {
        assert_eq!(HANDED_OUT.len(), MIGRATIONS.len());
        for (index, dump) in HANDED_OUT.iter().enumerate() {
            let mut made = Connection::open_in_memory().unwrap();
            run(&mut made, &MIGRATIONS[..=index]).unwrap();
            let pinned = Connection::open_in_memory().unwrap();
            pinned.execute_batch(dump).unwrap();
            assert_eq!(definitions(&made), definitions(&pinned), "version {}", index + 1);
        }
    }

    #[test]
    fn an_older_file_is_copied_beside_itself_before_it_is_changed() {
        let folder = std::env::temp_dir().join(format!("bellmouth-{}", crate::Id::new()));
        std::fs::create_dir(&folder).unwrap();
        let path = folder.join("logbook.sqlite");
        drop(Logbook::open(&path).unwrap());
        let broken =
            [MIGRATIONS, &["ALTER TABLE machine ADD COLUMN colour TEXT; ALTER TABLE none RENAME TO x"]];
        assert!(Logbook::open_as(&path, &broken.concat()).is_err());
        let longer =
            [MIGRATIONS, &["ALTER TABLE machine ADD COLUMN colour TEXT NOT NULL DEFAULT ''"]].concat();
        let opened = Logbook::open_as(&path, &longer).unwrap();
        let kept = opened.kept_copy.unwrap();
        let name = kept.file_name().unwrap().to_string_lossy().into_owned();
        let expected = format!("logbook.sqlite.version-{}-2", MIGRATIONS.len());
        assert_eq!(name, expected, "the copy of the broken attempt is not overwritten");
        assert_eq!(version(&opened.logbook.connection).unwrap(), longer.len() as i64);
        assert_eq!(crate::check(&kept).unwrap().version, MIGRATIONS.len() as i64);
        drop(opened.logbook);
        assert!(matches!(Logbook::open(&path), Err(Error::Newer { .. })));
        assert!(Logbook::open(&kept).is_ok());
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
