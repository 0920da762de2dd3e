//! The order of sites beside another implementation of the same standard: ICU in Node, by
//! `Intl.Collator` with numbers by their value (ECMA-402). "Unit 2" before "Unit 10".

use std::io::Write as _;
use std::process::{Command, Stdio};

use slotwise::archive::sort_key;
use slotwise_tests::outside::not_checked;

/// Names as offices write them, and some that they do not.
fn names() -> Vec<String> {
    let mut names: Vec<String> = [
        "Larkfield Terrace",
        "larkfield terrace",
        "Unit",
        "unit",
        "Ærø Alle",
        "Åsgade",
        "Élan Court",
        "Elan Court",
        "Zur Mühle",
        "St. Brannoc's Rd",
        "Straße",
        "№",
    ]
    .iter()
    .flat_map(|street| {
        [
            "",
            " 1",
            " 2",
            " 10",
            " 9a",
            " 10a",
            " 010",
            "-3",
            " 1/2",
            " 100000000000000000000",
        ]
        .map(|number| format!("{street}{number}"))
    })
    .collect();
    names.extend(
        [
            "",
            " ",
            "10 Unit",
            "2 Unit",
            "<b>",
            "'; --",
            "../x",
            "\u{202e}x",
            "東京 2",
            "東京 10",
            "٣ Unit",
        ]
        .map(str::to_owned),
    );
    names
}

#[test]
fn sites_stand_in_the_order_of_unicode_with_numbers_by_their_value() {
    let mut ours = names();
    // Another order than either.
    ours.reverse();
    ours.sort_by_cached_key(|name| sort_key(name));
    let script = "let s='';process.stdin.on('data',d=>s+=d).on('end',()=>{\
        const c=new Intl.Collator('en',{numeric:true});\
        const names=JSON.parse(s);\
        const wrong=[];\
        for(let i=1;i<names.length;i++)\
          if(c.compare(names[i-1],names[i])>0)wrong.push([names[i-1],names[i]]);\
        console.log(JSON.stringify(wrong))})";
    let child = Command::new("node")
        .args(["-e", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let Ok(mut child) = child else {
        return not_checked(
            "no node, so the order of sites was not compared",
            "install nodejs",
        );
    };
    let asked = |child: &mut std::process::Child, names: &[String]| {
        let bytes = serde_json::to_vec(names).unwrap();
        child.stdin.take().unwrap().write_all(&bytes).unwrap();
    };
    asked(&mut child, &ours);
    let output = child.wait_with_output().unwrap();
    let wrong: Vec<[String; 2]> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(wrong, [] as [[String; 2]; 0]);
    let place = |name: &str| ours.iter().position(|one| one == name).unwrap();
    assert!(place("Unit 2") < place("Unit 9a"));
    assert!(place("Unit 9a") < place("Unit 10"));
    // Byte order would not have passed.
    let mut bytes = names();
    bytes.sort();
    assert_ne!(ours, bytes);
}
