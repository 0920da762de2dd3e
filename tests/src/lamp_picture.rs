//! The picture of the lamps in README: drawn from the lamps and texts of the program, so that
//! it cannot say something else than they do.

use core::fmt::Write as _;

use slotwise::texts::{English, Language as _};
use slotwise_core::lamps::{Lamp, Rhythm};

/// Height of a row.
const ROW: u32 = 44;

/// Start and length of a lit stretch, percent of two seconds.
type Lit = (u32, u32);

/// What is explained beside the column.
const RHYTHMS: [(Rhythm, &str, &[Lit]); 5] = [
    (Rhythm::Steady, "yes", &[(0, 100)]),
    (Rhythm::SlowBlink, "unsure", &[(0, 25), (50, 25)]),
    (
        Rhythm::FastBlink,
        "no",
        &[
            (0, 6),
            (12, 6),
            (25, 6),
            (37, 6),
            (50, 6),
            (62, 6),
            (75, 6),
            (87, 6),
        ],
    ),
    (
        Rhythm::Off,
        "not asked yet; first lamp: no danger found",
        &[],
    ),
    (
        Rhythm::FastPulse,
        "danger: metal may be live, all other lamps go dark",
        &[
            (0, 2),
            (6, 2),
            (12, 2),
            (19, 2),
            (25, 2),
            (31, 2),
            (37, 2),
            (44, 2),
            (50, 2),
            (56, 2),
            (62, 2),
            (69, 2),
            (75, 2),
            (81, 2),
            (87, 2),
            (94, 2),
        ],
    ),
];

/// The picture.
#[must_use]
pub fn svg() -> String {
    let height = ROW * 6 + 60;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 860 {height}\" width=\"860\" \
         role=\"img\" aria-label=\"Six lamps in one column, each beside a question, and what \
         their rhythms mean\" font-family=\"sans-serif\" font-size=\"17\">\n\
         <rect width=\"860\" height=\"{height}\" fill=\"#ffffff\"/>\n\
         <rect x=\"16\" y=\"16\" width=\"372\" height=\"{}\" rx=\"14\" fill=\"#f2efe8\" \
         stroke=\"#555\" stroke-width=\"2\"/>\n",
        ROW * 6 + 28
    );
    let mut line = |text: String| {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "{text}");
    };
    for (place, lamp) in (0..).zip(Lamp::ALL) {
        let y = 52 + place * ROW;
        let fill = if lamp == Lamp::LiveMetal {
            "#b3261e"
        } else {
            "#fffdf4"
        };
        line(format!(
            "<circle cx=\"46\" cy=\"{y}\" r=\"11\" fill=\"{fill}\" stroke=\"#333\" \
             stroke-width=\"2\"/>"
        ));
        line(format!(
            "<text x=\"72\" y=\"{}\" fill=\"#111\">{}</text>",
            y + 6,
            English.question(lamp)
        ));
    }
    line("<text x=\"420\" y=\"40\" fill=\"#111\" font-weight=\"bold\">A lamp answers by its rhythm</text>".to_owned());
    for (place, (rhythm, answer, lit)) in (0..).zip(RHYTHMS) {
        let y = 64 + place * 50;
        line(format!(
            "<rect x=\"420\" y=\"{y}\" width=\"120\" height=\"16\" rx=\"3\" fill=\"#fff\" \
             stroke=\"#777\"/>"
        ));
        for (from, long) in lit {
            line(format!(
                "<rect x=\"{}\" y=\"{y}\" width=\"{}\" height=\"16\" fill=\"#c98a00\"/>",
                420 + from * 120 / 100,
                long * 120 / 100
            ));
        }
        line(format!(
            "<text x=\"552\" y=\"{}\" fill=\"#111\" font-weight=\"bold\">{}</text>",
            y + 14,
            English.rhythm(rhythm)
        ));
        line(format!(
            "<text x=\"420\" y=\"{}\" fill=\"#444\" font-size=\"15\">{answer}</text>",
            y + 33
        ));
    }
    out.push_str("</svg>\n");
    out
}
