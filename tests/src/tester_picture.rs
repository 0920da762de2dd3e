//! A picture of the tester's front: the lamps in their column with their questions, what each did
//! in the last two seconds, and the display beside them. Drawn from pins and from what the display
//! holds, so it shows what a person would see.

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Point, Size};
use embedded_graphics::mono_font::MonoTextStyle;
use embedded_graphics::mono_font::iso_8859_1::FONT_6X13;
use embedded_graphics::pixelcolor::{Rgb888, RgbColor as _};
use embedded_graphics::primitives::{
    Circle, Primitive as _, PrimitiveStyle, PrimitiveStyleBuilder, Rectangle,
};
use embedded_graphics::text::{Baseline, Text};
use embedded_graphics::{Drawable, Pixel};
use slotwise::texts::{English, Language as _};
use slotwise_core::lamps::{LAMPS, Lamp};
use slotwise_virtual::chips::side_bus::{HEIGHT, Picture, WIDTH};

/// Stretches of a lamp's history.
pub const STRETCHES: usize = 100;
/// Length of one, milliseconds: two seconds together.
pub const STRETCH_MS: u64 = 20;

/// What a lamp did: for every stretch of the last two seconds, whether it was lit for most of it.
pub type History = [bool; STRETCHES];

/// What stands on a tester's front.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Front {
    /// What it is doing there.
    pub caption: String,
    /// The lamps, from the top.
    pub lamps: [History; LAMPS],
    /// What a person sees on the display; `None` if it has none.
    pub display: Option<Box<Picture>>,
}

const INK: Rgb888 = Rgb888::new(0x22, 0x22, 0x22);
const GREY: Rgb888 = Rgb888::new(0x77, 0x77, 0x77);
const CASE: Rgb888 = Rgb888::new(0xF2, 0xEF, 0xE8);
const RED: Rgb888 = Rgb888::new(0xD0, 0x20, 0x18);
const WARM: Rgb888 = Rgb888::new(0xF0, 0xA8, 0x00);
const DARK: Rgb888 = Rgb888::new(0xCF, 0xCB, 0xC2);
const GLASS: Rgb888 = Rgb888::new(0x10, 0x12, 0x16);
const POINT: Rgb888 = Rgb888::new(0xE6, 0xF4, 0xFF);

/// Points of the picture a point of the display.
const SCALE: usize = 2;
/// Size of one front.
const FRONT: Size = Size::new(640, 196);
const GAP: u32 = 8;
/// Top of the first lamp's row, and height of a row.
const FIRST: i32 = 30;
const PITCH: i32 = 26;

/// Points of three bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    size: Size,
    bytes: Vec<u8>,
}

impl Image {
    fn new(size: Size) -> Self {
        let bytes = vec![0xFF; (size.width * size.height * 3) as usize];
        Self { size, bytes }
    }

    /// The image as a PNG file.
    ///
    /// # Panics
    /// If the encoder refuses it, which it does not.
    #[must_use]
    pub fn png(&self) -> Vec<u8> {
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, self.size.width, self.size.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::High);
        let mut writer = encoder.write_header().expect("a size that is one");
        writer.write_image_data(&self.bytes).expect("all points");
        writer.finish().expect("an end");
        file
    }

    /// Reads one of our own pictures.
    ///
    /// # Errors
    /// In words, if it is none.
    pub fn of_png(file: &[u8]) -> Result<Self, String> {
        let decoder = png::Decoder::new(std::io::Cursor::new(file));
        let mut reader = decoder.read_info().map_err(|error| error.to_string())?;
        let length = reader.output_buffer_size().ok_or("too large")?;
        let mut bytes = vec![0; length];
        let info = reader
            .next_frame(&mut bytes)
            .map_err(|error| error.to_string())?;
        bytes.truncate(info.buffer_size());
        Ok(Self {
            size: Size::new(info.width, info.height),
            bytes,
        })
    }
}

impl OriginDimensions for Image {
    fn size(&self) -> Size {
        self.size
    }
}

impl DrawTarget for Image {
    type Color = Rgb888;
    type Error = core::convert::Infallible;

    fn draw_iter<I>(&mut self, pixels: I) -> Result<(), Self::Error>
    where
        I: IntoIterator<Item = Pixel<Rgb888>>,
    {
        for Pixel(at, color) in pixels {
            let (Ok(x), Ok(y)) = (u32::try_from(at.x), u32::try_from(at.y)) else {
                continue;
            };
            if x < self.size.width && y < self.size.height {
                let place = ((y * self.size.width + x) * 3) as usize;
                self.bytes[place..place + 3].copy_from_slice(&[color.r(), color.g(), color.b()]);
            }
        }
        Ok(())
    }
}

/// The picture of these fronts, in two columns where there are several.
#[must_use]
pub fn image(fronts: &[Front]) -> Image {
    let columns = fronts.len().clamp(1, 2);
    let rows = fronts.len().div_ceil(columns);
    let pitch = FRONT + Size::new_equal(GAP);
    let sheet = Size::new(columns as u32 * pitch.width, rows as u32 * pitch.height);
    let mut image = Image::new(sheet - Size::new_equal(GAP));
    for (place, front) in fronts.iter().enumerate() {
        let (row, column) = (place / columns, place % columns);
        let at = Point::new(
            column as i32 * pitch.width as i32,
            row as i32 * pitch.height as i32,
        );
        draw(front, at, &mut image);
    }
    image
}

fn filled(color: Rgb888) -> PrimitiveStyle<Rgb888> {
    PrimitiveStyle::with_fill(color)
}

fn show<D: Drawable<Color = Rgb888>>(what: &D, image: &mut Image) {
    let Ok(_) = what.draw(image);
}

fn write(text: &str, at: Point, color: Rgb888, image: &mut Image) {
    let style = MonoTextStyle::new(&FONT_6X13, color);
    show(&Text::with_baseline(text, at, style, Baseline::Top), image);
}

fn draw(front: &Front, at: Point, image: &mut Image) {
    let case = PrimitiveStyleBuilder::new()
        .fill_color(CASE)
        .stroke_color(GREY)
        .stroke_width(1)
        .build();
    show(&Rectangle::new(at, FRONT).into_styled(case), image);
    write(&front.caption, at + Point::new(10, 8), INK, image);
    for (row, (lamp, history)) in (0..).zip(Lamp::ALL.into_iter().zip(&front.lamps)) {
        let top = at + Point::new(10, FIRST + row * PITCH);
        let lit = history.iter().filter(|lit| **lit).count();
        let color = if lamp == Lamp::LiveMetal { RED } else { WARM };
        let ring = PrimitiveStyleBuilder::new()
            .fill_color(if lit > 0 { color } else { DARK })
            .stroke_color(INK)
            .stroke_width(1)
            .build();
        show(&Circle::new(top, 15).into_styled(ring), image);
        write(English.question(lamp), top + Point::new(24, 1), INK, image);
        let strip = top + Point::new(210, 3);
        for (place, lit) in (0..).zip(history) {
            let at = strip + Point::new(place, 0);
            let color = if *lit { color } else { DARK };
            show(
                &Rectangle::new(at, Size::new(1, 9)).into_styled(filled(color)),
                image,
            );
        }
    }
    let corner = at + Point::new(346, 36);
    let glass = Size::new((WIDTH * SCALE + 16) as u32, (HEIGHT * SCALE + 16) as u32);
    let Some(display) = &front.display else {
        write("no display", corner + Point::new(8, 8), GREY, image);
        return;
    };
    show(
        &Rectangle::new(corner, glass).into_styled(filled(GLASS)),
        image,
    );
    let size = Size::new_equal(SCALE as u32);
    for (row, points) in display.iter().enumerate() {
        for (column, _) in points.iter().enumerate().filter(|(_, lit)| **lit) {
            let place = Point::new((8 + column * SCALE) as i32, (8 + row * SCALE) as i32);
            show(
                &Rectangle::new(corner + place, size).into_styled(filled(POINT)),
                image,
            );
        }
    }
}

/// The front of an emulated board, from its report (`tests/emulator/run.mjs --report`).
///
/// # Errors
/// In words, what the report lacks.
pub fn of_report(report: &serde_json::Value) -> Result<Front, String> {
    let end = report["simulatedSeconds"].as_f64().ok_or("no time")? * 1000.0;
    let history = report["lamps"]["history"].as_array().ok_or("no lamps")?;
    let names = [
        "live-metal",
        "wired-right",
        "earth-path",
        "supply",
        "steady",
        "proven",
    ];
    let lamps = names.map(|name| {
        let edges: Vec<(f64, bool)> = history
            .iter()
            .filter(|edge| edge["lamp"] == name)
            .filter_map(|edge| Some((edge["ms"].as_f64()?, edge["lit"].as_bool()?)))
            .collect();
        core::array::from_fn(|stretch| {
            let middle = end - ((STRETCHES - stretch) as f64 - 0.5) * STRETCH_MS as f64;
            let before = edges.iter().take_while(|(ms, _)| *ms <= middle);
            before.last().is_some_and(|(_, lit)| *lit)
        })
    });
    let display = match report["display"]["picture"].as_array() {
        None => None,
        Some(rows) => Some(Box::new(picture(rows)?)),
    };
    Ok(Front {
        caption: format!("the image in the emulator, after {:.2} s", end / 1000.0),
        lamps,
        display,
    })
}

/// What a person sees, from rows of 0 and 1.
fn picture(rows: &[serde_json::Value]) -> Result<Picture, String> {
    let mut picture = [[false; WIDTH]; HEIGHT];
    if rows.len() != HEIGHT {
        return Err(format!("{} rows", rows.len()));
    }
    for (points, row) in picture.iter_mut().zip(rows) {
        let row = row.as_str().ok_or("a row that is no text")?;
        for (point, character) in points.iter_mut().zip(row.chars()) {
            *point = character == '1';
        }
    }
    Ok(picture)
}
