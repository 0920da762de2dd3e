//! Completions and manual: a shell takes the one, `man`'s own language has the other, and both
//! know every command.

mod support;

use clap::CommandFactory as _;
use slotwise::cli::Cli;
use support::slotwise;

fn names() -> Vec<String> {
    let command = Cli::command();
    let names = command
        .get_subcommands()
        .map(|sub| sub.get_name().to_owned());
    names.collect()
}

#[test]
fn completions_know_every_command_and_a_shell_reads_them() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let output = slotwise().args(["completions", shell]).output().unwrap();
        assert!(output.status.success());
        let script = String::from_utf8(output.stdout).unwrap();
        for name in names() {
            assert!(script.contains(&name), "{shell}: {name}");
        }
        if shell == "bash" && cfg!(unix) {
            let folder = tempfile::tempdir().unwrap();
            let file = folder.path().join("slotwise");
            std::fs::write(&file, &script).unwrap();
            let complete = "source \"$0\"; COMP_WORDS=(slotwise vis); COMP_CWORD=1; \
                            _slotwise slotwise vis slotwise; echo \"${COMPREPLY[@]}\"";
            let read = std::process::Command::new("bash")
                .args(["-c", complete])
                .arg(&file)
                .output()
                .unwrap();
            assert_eq!(String::from_utf8_lossy(&read.stdout).trim(), "visits");
        }
    }
    slotwise().args(["completions", "csh"]).assert().code(2);
}

#[test]
fn the_manual_has_a_page_for_every_command_with_the_exit_codes() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("man");
    slotwise()
        .arg("manual")
        .arg("--out")
        .arg(&out)
        .assert()
        .code(0);
    for name in names() {
        let page = std::fs::read_to_string(out.join(format!("slotwise-{name}.1"))).unwrap();
        assert!(
            page.contains(".TH") && page.contains("metal may be live"),
            "{name}"
        );
    }
    assert!(out.join("slotwise-archive-import.1").exists());
    // A file where the folder should be.
    std::fs::write(folder.path().join("taken"), "").unwrap();
    let taken = folder.path().join("taken");
    slotwise()
        .arg("manual")
        .arg("--out")
        .arg(taken)
        .assert()
        .code(7);
}
