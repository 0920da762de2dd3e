//! A screen drawn, element by element, on anything that takes points.
//!
//! One call draws one element, so that no turn of the loop is long: the ground with the top line
//! first, then the lines. A danger is dark on light all over, a tester fault stands between
//! thick bars; no other screen looks like either.

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{Point, Size};
use embedded_graphics::mono_font::iso_8859_1::{FONT_6X10, FONT_9X18_BOLD, FONT_10X20};
use embedded_graphics::mono_font::{MonoFont, MonoTextStyle};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::primitives::Rectangle;
use embedded_graphics::text::{Baseline, Text};
use embedded_graphics::{Drawable as _, geometry::OriginDimensions};

use super::line::Line;
use super::screen::{Look, ROWS, Screen};

/// Elements of a screen: the ground with the top line, and the lines.
pub const ELEMENTS: usize = 1 + ROWS;

/// Height of the top line's bar.
const BAR: u32 = 12;
/// Top of the first line, and height of a line.
const FIRST: i32 = 13;
const PITCH: i32 = 10;
/// Left edge of text.
const LEFT: i32 = 1;
/// Thickness of the bars above and below a tester fault.
const THICK: u32 = 4;

/// Draws element `element` of `screen`; nothing if there is none of that number.
///
/// # Errors
/// That of the target.
pub fn element<D>(screen: &Screen, element: usize, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor> + OriginDimensions,
{
    let Some(row) = element.checked_sub(1) else {
        return ground(screen, target);
    };
    let Some(line) = screen.rows.get(row) else {
        return Ok(());
    };
    let row = row as i32;
    match (screen.look, row) {
        (Look::Plain | Look::Marked, _) => {
            let at = Point::new(LEFT, FIRST + row * PITCH);
            text(line, at, &FONT_6X10, BinaryColor::On, target)
        }
        (Look::Danger, 0) => centred(line, 20, &FONT_9X18_BOLD, BinaryColor::Off, target),
        (Look::Danger, _) => centred(line, 29 + row * PITCH, &FONT_6X10, BinaryColor::Off, target),
        (Look::Fault, _) => centred(line, 28 + row * PITCH, &FONT_6X10, BinaryColor::On, target),
    }
}

fn ground<D>(screen: &Screen, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor> + OriginDimensions,
{
    let size = target.size();
    let number = screen
        .number
        .map_or_else(Line::new, |number| Line::new().number(u32::from(number), 2));
    let head = &screen.head;
    let is_light = screen.look == Look::Danger;
    target.clear(if is_light {
        BinaryColor::On
    } else {
        BinaryColor::Off
    })?;
    match screen.look {
        Look::Plain | Look::Marked => {
            let bar = Rectangle::new(Point::zero(), Size::new(size.width, BAR));
            let ink = if screen.look == Look::Marked {
                target.fill_solid(&bar, BinaryColor::On)?;
                BinaryColor::Off
            } else {
                let rule = Rectangle::new(Point::new(0, BAR as i32 - 1), Size::new(size.width, 1));
                target.fill_solid(&rule, BinaryColor::On)?;
                BinaryColor::On
            };
            let line = head.clone().right(&number);
            text(&line, Point::new(LEFT, 1), &FONT_6X10, ink, target)
        }
        Look::Danger => {
            beside(&number, 2, BinaryColor::Off, target)?;
            text(
                head,
                Point::new(LEFT, 1),
                &FONT_10X20,
                BinaryColor::Off,
                target,
            )
        }
        Look::Fault => {
            let bar = Size::new(size.width, THICK);
            let below = Point::new(0, size.height as i32 - THICK as i32);
            target.fill_solid(&Rectangle::new(Point::zero(), bar), BinaryColor::On)?;
            target.fill_solid(&Rectangle::new(below, bar), BinaryColor::On)?;
            beside(&number, 2, BinaryColor::On, target)?;
            let at = Point::new(LEFT, 7);
            text(head, at, &FONT_9X18_BOLD, BinaryColor::On, target)
        }
    }
}

/// The finding's number, small, in the upper right corner beside the large words.
fn beside<D>(number: &Line, inset: i32, ink: BinaryColor, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor> + OriginDimensions,
{
    let x = target.size().width as i32 - inset - width(number, &FONT_6X10);
    text(number, Point::new(x, 7), &FONT_6X10, ink, target)
}

fn centred<D>(
    line: &Line,
    top: i32,
    font: &MonoFont<'static>,
    ink: BinaryColor,
    target: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor> + OriginDimensions,
{
    let x = (target.size().width as i32 - width(line, font)) / 2;
    text(line, Point::new(x, top), font, ink, target)
}

fn width(line: &Line, font: &MonoFont<'static>) -> i32 {
    // At most 21 characters of 10 points.
    line.length() as i32 * font.character_size.width as i32
}

fn text<D>(
    line: &Line,
    at: Point,
    font: &MonoFont<'static>,
    ink: BinaryColor,
    target: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let style = MonoTextStyle::new(font, ink);
    Text::with_baseline(line.as_str(), at, style, Baseline::Top)
        .draw(target)
        .map(|_| ())
}
