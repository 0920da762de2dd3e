use super::super::marks::Shape;
use super::*;
use crate::document::Table;

/// A document of every kind of block, long enough for several sheets.
fn long() -> Document {
    let words = "Neutral and ground belong together at the service panel only, and 0123456789\
                 0123456789012345678901234567890123456789012345678901234567890123456789012345678\
                 must be broken. ";
    let mut blocks = Vec::new();
    for number in 0..12 {
        blocks.push(Block::Heading(Level::Section, format!("Heading {number}")));
        blocks.push(Block::Callout {
            tone: Tone::Danger,
            lead: "Lead:".to_owned(),
            text: words.repeat(3),
        });
        blocks.push(Block::List(vec![words.to_owned(), "short".to_owned()]));
        blocks.push(Block::Table(Table {
            caption: format!("Table {number}"),
            head: vec!["a".to_owned(), words.to_owned()],
            shares: vec![0.2, 0.8],
            rows: vec![vec![number.to_string(), words.repeat(2)]; 5],
        }));
        blocks.push(Block::Figure(Figure {
            svg: "<svg viewBox=\"0 0 100 50\"></svg>".to_owned(),
            described: "a drawing".to_owned(),
            caption: words.to_owned(),
            keys: vec![("nw", "a key".to_owned()); 9],
            share: 0.8,
        }));
        blocks.push(Block::Answer {
            tone: Tone::Good,
            text: "PROVEN".to_owned(),
        });
    }
    Document {
        title: words.to_owned(),
        language: "en",
        foot: "foot".to_owned(),
        blocks,
    }
}

#[test]
fn nothing_leaves_the_sheet_and_no_word_is_lost() {
    let faces = Faces::built_in().unwrap();
    let document = long();
    let paper = lay_out(&document, &faces);
    assert!(paper.sheets.len() > 5);
    let mut said = String::new();
    for sheet in &paper.sheets {
        for mark in sheet {
            match &mark.shape {
                Shape::Text {
                    x,
                    y,
                    size,
                    weight,
                    text,
                    ..
                } => {
                    let end = x + faces.width(text, *size, *weight);
                    assert!(*x >= MARGIN && end <= WIDTH - MARGIN + 0.1, "{text}: {end}");
                    assert!(*y > MARGIN && *y <= FOOT, "{text}");
                    assert!(mark.node.is_none() || *y <= BOTTOM + 0.1, "{text} at {y}");
                    if mark.node.is_some() {
                        said.push_str(text);
                    }
                }
                Shape::Box {
                    x,
                    y,
                    width,
                    height,
                    ..
                } => {
                    assert!(x + width <= WIDTH - MARGIN + 0.1 && y + height <= HEIGHT);
                }
                Shape::Drawing { x, y, width, svg } => {
                    assert!(x + width <= WIDTH - MARGIN + 0.1);
                    assert!(y + width * aspect(svg) <= BOTTOM + 0.1);
                }
            }
        }
    }
    let squeezed = |text: &str| text.split_whitespace().collect::<String>();
    let said = squeezed(&said);
    // The name of a column stands again on every sheet that its table reaches; all else once.
    let mut wanted: usize = 0;
    for words in document.words() {
        assert!(said.contains(&squeezed(words)), "{words}");
        wanted += squeezed(words).len();
    }
    assert_eq!(said.len(), wanted);
}

#[test]
fn a_heading_stands_on_the_sheet_of_its_drawing() {
    let faces = Faces::built_in().unwrap();
    for lines in 20..60 {
        let mut blocks = vec![Block::List(vec!["line".to_owned(); lines])];
        blocks.push(Block::Heading(Level::Section, "Record 7".to_owned()));
        blocks.push(Block::Figure(Figure {
            svg: "<svg viewBox=\"0 0 100 50\"></svg>".to_owned(),
            described: String::new(),
            caption: String::new(),
            keys: Vec::new(),
            share: 0.8,
        }));
        let document = Document {
            title: "t".to_owned(),
            language: "en",
            foot: String::new(),
            blocks,
        };
        let paper = lay_out(&document, &faces);
        let sheet_of = |is: &dyn Fn(&Shape) -> bool| {
            paper
                .sheets
                .iter()
                .position(|sheet| sheet.iter().any(|mark| is(&mark.shape)))
                .unwrap()
        };
        let heading =
            sheet_of(&|shape| matches!(shape, Shape::Text { text, .. } if text == "Record 7"));
        let drawing = sheet_of(&|shape| matches!(shape, Shape::Drawing { .. }));
        assert_eq!(heading, drawing, "{lines}");
    }
}
