//! A PostgreSQL server of our own for a test: Debian's programs, a folder of its own, a socket and
//! no port. It ends with the test.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// A running server.
pub(crate) struct Server {
    process: Child,
    folder: TempDir,
}

/// Where the programs of the newest version are: Debian keeps them out of the PATH.
fn programs() -> Option<PathBuf> {
    let debian = std::fs::read_dir("/usr/lib/postgresql").ok();
    let mut found: Vec<PathBuf> = debian
        .into_iter()
        .flatten()
        .flatten()
        .map(|version| version.path().join("bin"))
        .chain([PathBuf::from("/usr/local/bin"), PathBuf::from("/usr/bin")])
        .filter(|bin| bin.join("initdb").exists() && bin.join("postgres").exists())
        .collect();
    found.sort();
    found.pop()
}

/// The server refuses to run as root: then it runs as the user of Debian's package.
fn command(program: &Path) -> Command {
    let id = Command::new("id").arg("-u").output().expect("id");
    if id.stdout.trim_ascii() == b"0" {
        let mut command = Command::new("setpriv");
        command
            .args([
                "--reuid=postgres",
                "--regid=postgres",
                "--clear-groups",
                "--",
            ])
            .arg(program);
        command
    } else {
        Command::new(program)
    }
}

impl Server {
    /// Starts one; `None`, and a word, where there is no PostgreSQL.
    pub(crate) fn start() -> Option<Self> {
        let Some(bin) = programs() else {
            let strict = std::env::var_os("SLOTWISE_TESTS_STRICT").is_some();
            assert!(
                !strict,
                "no PostgreSQL; run tests/run, or install postgresql"
            );
            eprintln!("NOT CHECKED: no PostgreSQL; run tests/run, or install postgresql");
            return None;
        };
        let folder = tempfile::Builder::new()
            .prefix("pg")
            .tempdir_in("/tmp")
            .expect("a folder; a socket's path must be short");
        let data = folder.path().join("data");
        std::fs::create_dir(&data).expect("a folder");
        // For the case that the server is another user.
        let open = Command::new("chmod")
            .arg("777")
            .args([folder.path(), &data])
            .status();
        assert!(open.is_ok_and(|status| status.success()));
        if command(Path::new("true")).get_program() == "setpriv" {
            let given = Command::new("chown").arg("postgres").arg(&data).status();
            assert!(given.is_ok_and(|status| status.success()));
        }
        let made = command(&bin.join("initdb"))
            .args([
                "--no-sync",
                "--auth=trust",
                "--username=office",
                "--encoding=UTF8",
            ])
            .args(["--locale=C", "--pgdata"])
            .arg(&data)
            .current_dir(folder.path())
            .output()
            .expect("initdb starts");
        assert!(
            made.status.success(),
            "{}",
            String::from_utf8_lossy(&made.stderr)
        );
        let process = command(&bin.join("postgres"))
            .args(["-c", "listen_addresses=", "-c", "fsync=off", "-k"])
            .arg(folder.path())
            .arg("-D")
            .arg(&data)
            .current_dir(folder.path())
            .stderr(Stdio::null())
            .stdout(Stdio::null())
            .spawn()
            .expect("postgres starts");
        let server = Self { process, folder };
        let began = Instant::now();
        // Bounded, so that a server that does not come up is told of.
        while server.client("postgres").is_err() {
            assert!(began.elapsed() < Duration::from_secs(120), "no server");
            std::thread::sleep(Duration::from_millis(20));
        }
        Some(server)
    }

    /// Address of a database of this name.
    pub(crate) fn address(&self, database: &str) -> String {
        let folder = self.folder.path().display().to_string().replace('/', "%2F");
        format!("postgres://office:dark-secret@{folder}/{database}")
    }

    /// A line to a database, past our own code.
    pub(crate) fn client(&self, database: &str) -> Result<postgres::Client, postgres::Error> {
        postgres::Client::connect(&self.address(database), postgres::NoTls)
    }

    /// Makes an empty database and returns its address.
    pub(crate) fn database(&self, name: &str) -> String {
        self.client("postgres")
            .expect("a line")
            .batch_execute(&format!("CREATE DATABASE {name}"))
            .expect("a database");
        self.address(name)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // SIGINT: the server ends its lines and itself. SIGKILL would leave its children.
        let _ = Command::new("kill")
            .args(["-INT", &self.process.id().to_string()])
            .status();
        let _ = self.process.wait();
    }
}
