use std::time::Duration;

use super::*;
use clap::CommandFactory as _;

#[test]
fn the_definition_is_consistent() {
    Cli::command().debug_assert();
}

#[test]
fn judge_wants_a_log_or_samples_and_a_rate() {
    let parse = |line: &str| Cli::try_parse_from(line.split(' '));
    assert!(parse("slotwise judge").is_err());
    assert!(parse("slotwise judge a.slotlog").is_ok());
    assert!(parse("slotwise judge --samples a.csv").is_err());
    assert!(parse("slotwise judge --samples a.csv --rate 30000").is_ok());
    assert!(parse("slotwise judge --samples a.csv --rate 10").is_err());
    assert!(parse("slotwise judge a.slotlog --samples a.csv --rate 30000").is_err());
    assert!(parse("slotwise judge a.slotlog --repeat").is_err());
}

#[test]
fn live_takes_a_time_with_its_unit() {
    let until = |time: &str| {
        let parsed = Cli::try_parse_from(["slotwise", "live", "--for", time]).ok()?;
        match parsed.command {
            Command::Live(args) => args.until,
            _ => None,
        }
    };
    assert_eq!(until("30s"), Some(Duration::from_secs(30)));
    assert_eq!(until("5m"), Some(Duration::from_secs(300)));
    for wrong in ["30", "0s", "-5s", "soon", ""] {
        assert_eq!(until(wrong), None, "{wrong}");
    }
}

#[test]
fn the_help_of_a_band_gives_the_numbers_that_are_judged_by() {
    let mut sets = Vec::new();
    for band in Band::value_variants() {
        let set = BandSet::from(*band);
        let value = band.to_possible_value().expect("none is hidden");
        let help = value.get_help().expect("each has help").to_string();
        let (low, high) = (set.band().low.get(), set.band().high.get());
        assert!(help.contains(&format!("{low:.0}-{high:.0} V")), "{help}");
        assert!(!sets.contains(&set), "{band:?}");
        sets.push(set);
    }
    assert_eq!(sets.len(), BandSet::ALL.len());
    let parsed = Cli::try_parse_from(["slotwise", "judge", "a.slotlog"]).expect("a command");
    let Command::Judge(args) = parsed.command else {
        panic!("not judge");
    };
    assert_eq!(BandSet::from(args.band), BandSet::default());
}

#[test]
fn the_long_help_of_every_command_holds_the_exit_codes() {
    let mut command = Cli::command();
    let names: Vec<String> = command
        .get_subcommands()
        .map(|sub| sub.get_name().to_owned())
        .collect();
    for name in names {
        let sub = command.find_subcommand_mut(&name).expect("listed");
        let help = sub.render_long_help().to_string();
        assert!(help.contains("metal may be live"), "{name}");
    }
}
