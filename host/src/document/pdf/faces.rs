//! The two fonts: what a word measures, and what the file embeds.

use krilla::text::Font;
use ttf_parser::Face;

const REGULAR: &[u8] = include_bytes!("../../../fonts/NotoSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("../../../fonts/NotoSans-Bold.ttf");

/// Name of the family, for drawings.
pub(super) const FAMILY: &str = "Noto Sans";

/// Which of the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// One font.
struct One {
    face: Face<'static>,
    font: Font,
}

impl One {
    fn new(bytes: &'static [u8]) -> Option<Self> {
        Some(Self {
            face: Face::parse(bytes, 0).ok()?,
            font: Font::new(bytes.to_vec().into(), 0)?,
        })
    }
}

/// Both fonts.
pub(super) struct Faces {
    regular: One,
    bold: One,
}

impl Faces {
    /// Those inside this program.
    pub(super) fn built_in() -> Option<Self> {
        Some(Self {
            regular: One::new(REGULAR)?,
            bold: One::new(BOLD)?,
        })
    }

    fn one(&self, weight: Weight) -> &One {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// For the file.
    pub(super) fn font(&self, weight: Weight) -> Font {
        self.one(weight).font.clone()
    }

    /// For drawings.
    pub(super) fn bytes() -> [&'static [u8]; 2] {
        [REGULAR, BOLD]
    }

    /// The text with letters that the fonts lack replaced, and nothing in it that steers.
    pub(super) fn printable(&self, text: &str) -> String {
        text.chars()
            .map(|c| match c {
                '\n' | '\r' | '\t' => ' ',
                c if self.regular.face.glyph_index(c).is_some() => c,
                _ => '\u{25A1}',
            })
            .collect()
    }

    /// Width of printable text, letter by letter. Kerning makes the printed one a little
    /// narrower, so what fits by this fits.
    pub(super) fn width(&self, text: &str, size: f32, weight: Weight) -> f32 {
        let face = &self.one(weight).face;
        let units: u32 = text
            .chars()
            .filter_map(|c| face.glyph_index(c))
            .filter_map(|glyph| face.glyph_hor_advance(glyph))
            .map(u32::from)
            .sum();
        units as f32 * size / f32::from(face.units_per_em())
    }
}
