//! The laid-out sheets as a PDF file.

use std::num::NonZeroU16;
use std::sync::Arc;

use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, ListNumbering, Node as TagNode, SpanTag,
    TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};
use krilla::text::TextDirection;
use krilla::{Document as Pdf, SerializeSettings};
use krilla_svg::{SurfaceExt as _, SvgSettings};
use thiserror::Error;
use usvg::fontdb;

use super::faces::{FAMILY, Faces};
use super::layout::{HEIGHT, WIDTH};
use super::marks::{Colour, Mark, Node, Paper, Role, Shape};
use crate::document::{Document, Level};

/// Why there is no PDF.
#[derive(Debug, Error)]
pub enum PdfError {
    /// The fonts in this program cannot be read.
    #[error("the fonts inside this program cannot be read; please report this")]
    Fonts,
    /// A drawing cannot be read.
    #[error(
        "a drawing of the report cannot be printed ({0}); use the HTML page, and please report this"
    )]
    Drawing(String),
    /// The file cannot be put together.
    #[error("the PDF cannot be put together ({0}); use the HTML page, and please report this")]
    File(String),
}

/// How lines of drawings look on paper.
const STYLE: &str = "text{font-family:'Noto Sans';font-size:13px;fill:#444}\
path{fill:none}.nw{stroke:#1f5fae;stroke-width:5;opacity:.5}\
.ng{stroke:#8a3a06;stroke-width:1.8;stroke-dasharray:9 5}\
.gw{stroke:#14602f;stroke-width:2.6;stroke-dasharray:.1 5.5;stroke-linecap:round}\
.grid{stroke:#ccc;stroke-width:1}.zero{stroke:#555;stroke-width:1}\
.limit{stroke:#8f1115;stroke-width:1.6;stroke-dasharray:3 4}\
.band{fill:#1f5fae;opacity:.2;stroke:none}.mean{stroke:#1f5fae;stroke-width:2}\
.step{stroke:#555;stroke-width:1.4;stroke-dasharray:1 3}\
.body{fill:#fff;stroke:#000;stroke-width:2}.slot{fill:#000;stroke:none}\
.lead{stroke:#000;stroke-width:1.5}.says{fill:#000;font-size:14px}\
.loud{fill:#8f1115;font-size:14px;font-weight:700}\
.hotpart{fill:#8a3a06;stroke:none}.neutralpart{fill:#1f5fae;stroke:none}";

/// Prints the sheets.
pub(super) fn print(
    document: &Document,
    paper: &Paper,
    faces: &Faces,
) -> Result<Vec<u8>, PdfError> {
    // The library refuses to write a file that a reader could not speak aloud.
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|error| PdfError::File(format!("{error:?}")))?;
    let settings = SerializeSettings {
        configuration,
        enable_tagging: true,
        ..SerializeSettings::default()
    };
    let mut pdf = Pdf::new_with(settings);
    let mut fonts = fontdb::Database::new();
    for bytes in Faces::bytes() {
        fonts.load_font_data(bytes.to_vec());
    }
    let options = usvg::Options {
        font_family: FAMILY.to_owned(),
        fontdb: Arc::new(fonts),
        style_sheet: Some(STYLE.to_owned()),
        ..usvg::Options::default()
    };
    let mut marked: Vec<Vec<Identifier>> = vec![Vec::new(); paper.nodes.len()];
    let size = PageSettings::from_wh(WIDTH, HEIGHT)
        .ok_or_else(|| PdfError::File("size of the sheet".to_owned()))?;
    for sheet in &paper.sheets {
        let mut page = pdf.start_page_with(size.clone());
        let mut surface = page.surface();
        for mark in sheet {
            let drawn = draw(&mut surface, mark, faces, &options)?;
            if let Some(place) = mark.node.and_then(|node| marked.get_mut(node)) {
                place.push(drawn);
            }
        }
        surface.finish();
        page.finish();
    }
    pdf.set_outline(outline(paper));
    pdf.set_tag_tree(tree(&paper.nodes, &marked));
    pdf.set_metadata(
        Metadata::new()
            .title(document.title.clone())
            .language(document.language.to_owned())
            .creator(concat!("slotwise ", env!("CARGO_PKG_VERSION")).to_owned()),
    );
    pdf.finish()
        .map_err(|error| PdfError::File(format!("{error:?}")))
}

fn draw(
    surface: &mut Surface<'_>,
    mark: &Mark,
    faces: &Faces,
    options: &usvg::Options<'_>,
) -> Result<Identifier, PdfError> {
    let tag = match (&mark.node, &mark.shape) {
        (None, _) => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Other)),
        (Some(_), Shape::Text { .. }) => ContentTag::Span(SpanTag::empty()),
        (Some(_), _) => ContentTag::Other,
    };
    let tree = match &mark.shape {
        Shape::Drawing { svg, .. } => Some(
            usvg::Tree::from_str(&faces.printable(&standalone(svg)), options)
                .map_err(|error| PdfError::Drawing(error.to_string()))?,
        ),
        _ => None,
    };
    let drawn = surface.start_tagged(tag);
    match &mark.shape {
        Shape::Text {
            x,
            y,
            size,
            weight,
            colour,
            text,
        } => {
            surface.set_fill(Some(fill(*colour)));
            let at = Point::from_xy(*x, *y);
            surface.draw_text(
                at,
                faces.font(*weight),
                *size,
                text,
                false,
                TextDirection::Auto,
            );
        }
        Shape::Box {
            x,
            y,
            width,
            height,
            colour,
        } => {
            let mut path = PathBuilder::new();
            if let Some(rect) = Rect::from_xywh(*x, *y, *width, *height) {
                path.push_rect(rect);
            }
            if let Some(path) = path.finish() {
                surface.set_fill(Some(fill(*colour)));
                surface.draw_path(&path);
            }
        }
        Shape::Drawing { x, y, width, .. } => {
            if let Some(tree) = &tree {
                let scale = width / tree.size().width();
                let size = Size::from_wh(*width, tree.size().height() * scale);
                surface.push_transform(&Transform::from_translate(*x, *y));
                if let Some(size) = size {
                    surface.draw_svg(tree, size, SvgSettings::default());
                }
                surface.pop();
            }
        }
    }
    surface.end_tagged();
    Ok(drawn)
}

fn fill([red, green, blue]: Colour) -> Fill {
    Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        opacity: NormalizedF32::ONE,
        rule: krilla::paint::FillRule::default(),
    }
}

/// The headings, to jump to.
fn outline(paper: &Paper) -> Outline {
    let mut outline = Outline::new();
    let mut open: Option<OutlineNode> = None;
    let mut seen = None;
    for (number, sheet) in paper.sheets.iter().enumerate() {
        for mark in sheet {
            let (Some(node), Shape::Text { x, y, .. }) = (mark.node, &mark.shape) else {
                continue;
            };
            let Some(Role::Heading(level, title)) = paper.nodes.get(node).map(|node| &node.role)
            else {
                continue;
            };
            // A heading of several lines is one place.
            if seen.replace(node) == Some(node) {
                continue;
            }
            let place = XyzDestination::new(number, Point::from_xy(*x, *y));
            let entry = OutlineNode::new(title.clone(), place);
            match (level, &mut open) {
                (Level::Part, Some(section)) => section.push_child(entry),
                _ => {
                    if let Some(section) = open.replace(entry) {
                        outline.push_child(section);
                    }
                }
            }
        }
    }
    if let Some(section) = open {
        outline.push_child(section);
    }
    outline
}

/// A drawing of a page, which needs no name space there, as a file of its own, which does.
fn standalone(svg: &str) -> String {
    if svg.contains("xmlns=") {
        svg.to_owned()
    } else {
        svg.replacen("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"", 1)
    }
}

/// The structure, in the order in which the nodes were made, which is that of reading.
fn tree(nodes: &[Node], marked: &[Vec<Identifier>]) -> TagTree {
    let mut tree = TagTree::new();
    for (index, node) in nodes.iter().enumerate() {
        if node.parent.is_none() {
            tree.push(group(nodes, marked, index));
        }
    }
    tree
}

fn group(nodes: &[Node], marked: &[Vec<Identifier>], index: usize) -> TagGroup {
    let level = |level: u16| NonZeroU16::new(level).unwrap_or(NonZeroU16::MIN);
    let role = nodes.get(index).map_or(&Role::Paragraph, |node| &node.role);
    let tag: TagKind = match role {
        Role::Title(title) => Tag::Hn(level(1), Some(title.clone())).into(),
        Role::Heading(Level::Section, title) => Tag::Hn(level(2), Some(title.clone())).into(),
        Role::Heading(Level::Part, title) => Tag::Hn(level(3), Some(title.clone())).into(),
        Role::Paragraph => Tag::P.into(),
        Role::List => Tag::L(ListNumbering::None).into(),
        Role::Entry => Tag::LI.into(),
        Role::Table => Tag::Table.into(),
        Role::Caption => Tag::Caption.into(),
        Role::Row => Tag::TR.into(),
        Role::HeadCell => Tag::TH(TableHeaderScope::Column).into(),
        Role::NameCell => Tag::TH(TableHeaderScope::Row).into(),
        Role::Cell => Tag::TD.into(),
        Role::Figure(described) => Tag::Figure(Some(described.clone())).into(),
    };
    let mut made = TagGroup::new(tag);
    let mut inner: Vec<TagNode> = marked
        .get(index)
        .into_iter()
        .flatten()
        .map(|mark| TagNode::from(*mark))
        .collect();
    for (child, node) in nodes.iter().enumerate() {
        if node.parent == Some(index) {
            inner.push(group(nodes, marked, child).into());
        }
    }
    if matches!(role, Role::Entry) {
        let mut body = TagGroup::new(Tag::LBody);
        for node in inner {
            body.push(node);
        }
        made.push(body);
    } else {
        for node in inner {
            made.push(node);
        }
    }
    made
}
