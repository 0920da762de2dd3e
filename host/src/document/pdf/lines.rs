//! Words into lines of a width.

use super::faces::{Faces, Weight};

/// A piece of a line in one weight.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    /// From the line's left end.
    pub(super) x: f32,
    pub(super) weight: Weight,
    pub(super) text: String,
}

/// Breaks `lead` in bold and `text` after it into lines of at most `width`. A word that is wider
/// than a line is broken inside.
pub(super) fn broken(
    faces: &Faces,
    lead: &str,
    text: &str,
    size: f32,
    width: f32,
) -> Vec<Vec<Piece>> {
    let mut lines = vec![Vec::<Piece>::new()];
    let mut x = 0.0;
    for (words, weight) in [(lead, Weight::Bold), (text, Weight::Regular)] {
        let space = faces.width(" ", size, weight);
        for word in faces.printable(words).split_whitespace() {
            for part in parts(faces, word, size, width, weight) {
                let wide = faces.width(&part, size, weight);
                let gap = if x > 0.0 { space } else { 0.0 };
                if x > 0.0 && x + gap + wide > width {
                    lines.push(Vec::new());
                    x = 0.0;
                }
                let gap = if x > 0.0 { space } else { 0.0 };
                if let Some(line) = lines.last_mut() {
                    match line.last_mut() {
                        Some(last) if last.weight == weight => {
                            last.text.push(' ');
                            last.text.push_str(&part);
                        }
                        _ => line.push(Piece {
                            x: x + gap,
                            weight,
                            text: part,
                        }),
                    }
                }
                x += gap + wide;
            }
        }
    }
    lines
}

/// A word as parts that each fit.
fn parts(faces: &Faces, word: &str, size: f32, width: f32, weight: Weight) -> Vec<String> {
    if faces.width(word, size, weight) <= width {
        return vec![word.to_owned()];
    }
    let mut parts = vec![String::new()];
    let mut x = 0.0;
    for c in word.chars() {
        let wide = faces.width(c.encode_utf8(&mut [0; 4]), size, weight);
        if x > 0.0 && x + wide > width {
            parts.push(String::new());
            x = 0.0;
        }
        if let Some(part) = parts.last_mut() {
            part.push(c);
        }
        x += wide;
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_asked_and_no_word_is_lost() {
        let faces = Faces::built_in().unwrap();
        let text = "Hot and neutral are exchanged 0123456789abcdef0123456789abcdef0123456789abcdef at \
                    Larkfield Terrace; 工房 too.";
        for width in [30.0, 60.0, 111.0, 300.0, 5000.0] {
            let lines = broken(&faces, "Next:", text, 10.0, width);
            let mut kept = String::new();
            for line in &lines {
                let last = line.last().unwrap();
                assert!(last.x + faces.width(&last.text, 10.0, last.weight) <= width + 0.01);
                for piece in line {
                    kept.push_str(&piece.text);
                }
            }
            kept.retain(|c| c != ' ');
            let mut wanted = faces.printable(&format!("Next:{text}"));
            wanted.retain(|c| c != ' ');
            assert_eq!(kept, wanted);
        }
        assert!(faces.printable("工").contains('\u{25A1}'));
    }
}
