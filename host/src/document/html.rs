//! A document as one self-contained HTML page: no script, nothing from elsewhere.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{Block, Document, Figure, Level, Table};
use crate::report::STYLE;

/// What the page's own pieces need besides the style that every page of this program has.
const MORE: &str = r"
.answer{font-size:1.6rem;font-weight:700;border:3px solid currentColor;border-radius:.4rem;
padding:.3rem .9rem;display:inline-block;margin:.4rem 0}
.answer.good{color:var(--good)}.answer.wrong{color:var(--bad)}.answer.caution{color:var(--warn)}
.answer.danger{color:#fff;background:#a4161a;border-color:#a4161a;
print-color-adjust:exact;-webkit-print-color-adjust:exact}
.wrong{border-left:.35rem solid var(--bad);padding:.5rem .8rem;margin:.7rem 0}
.good{border-left:.35rem solid var(--good);padding:.5rem .8rem;margin:.7rem 0}
h2{margin:1.8rem 0 .3rem;border-top:2px solid var(--rule);padding-top:.8rem}
table{margin:.6rem 0}td,th{overflow-wrap:anywhere}
tbody th{font-weight:400;color:var(--soft);width:30%}
svg .limit{stroke:var(--bad);stroke-width:1.6;stroke-dasharray:3 4}
svg .band{fill:var(--nw);opacity:.2;stroke:none}svg .mean{stroke:var(--nw);stroke-width:2}
svg .step{stroke:var(--soft);stroke-width:1.4;stroke-dasharray:1 3}
svg .body{fill:var(--card);stroke:var(--fg);stroke-width:2}
svg .slot{fill:var(--fg);stroke:none}svg .lead{stroke:var(--fg);stroke-width:1.5}
svg .says{fill:var(--fg);font-size:14px}svg .loud{fill:var(--bad);font-size:14px;font-weight:700}
svg .hotpart{fill:var(--ng);stroke:none}svg .neutralpart{fill:var(--nw);stroke:none}
@media print{h2{break-after:avoid}tr,.answer{break-inside:avoid}.sheet{break-before:page}}
";

/// Every style that blocks need.
pub(crate) const STYLES: [&str; 2] = [STYLE, MORE];

/// The page.
#[must_use]
pub fn page(document: &Document) -> String {
    html! {
        (DOCTYPE)
        html lang=(document.language) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(concat!("slotwise ", env!("CARGO_PKG_VERSION")));
                title { (document.title) }
                style { (PreEscaped(STYLE)) (PreEscaped(MORE)) }
            }
            body {
                main {
                    h1 { (document.title) }
                    (blocks(&document.blocks))
                    footer { p class="soft" { (document.foot) } }
                }
            }
        }
    }
    .into_string()
}

/// The blocks without a page around them.
#[must_use]
pub fn blocks(blocks: &[Block]) -> Markup {
    html! { @for block in blocks { (self::block(block)) } }
}

fn block(block: &Block) -> Markup {
    html! {
        @match block {
            Block::Heading(Level::Section, text) => h2 { (text) },
            Block::Heading(Level::Part, text) => h3 { (text) },
            Block::Paragraph { lead, text } => p { (leading(lead)) (text) },
            Block::Callout { tone, lead, text } => p class=(tone.class()) { (leading(lead)) (text) },
            Block::Answer { tone, text } => p { span class={ "answer " (tone.class()) } { (text) } },
            Block::List(entries) => ul { @for entry in entries { li { (entry) } } },
            Block::Table(table) => (self::table(table)),
            Block::Figure(figure) => (self::figure(figure)),
            Block::NewSheet => div class="sheet" {},
        }
    }
}

fn leading(lead: &str) -> Markup {
    html! { @if !lead.is_empty() { strong { (lead) } " " } }
}

/// What a table is called: by its caption, else by the first thing in it.
fn called(table: &Table) -> &str {
    if !table.caption.is_empty() {
        return &table.caption;
    }
    let first = table.head.first().or_else(|| table.rows.first()?.first());
    first.map_or("", String::as_str)
}

fn table(table: &Table) -> Markup {
    html! {
        // Where it is wider than the screen, the arrow keys move it once it has the focus.
        div class="scroll" role="group" tabindex="0" aria-label=(called(table)) {
            table {
                @if !table.caption.is_empty() { caption { (table.caption) } }
                @if !table.head.is_empty() {
                    thead { tr { @for name in &table.head { th scope="col" { (name) } } } }
                }
                tbody {
                    @for row in &table.rows {
                        tr {
                            @for (column, cell) in row.iter().enumerate() {
                                @if column == 0 && table.head.is_empty() {
                                    th scope="row" { (cell) }
                                } @else { td { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn figure(figure: &Figure) -> Markup {
    html! {
        figure class="wave" {
            // Drawn by this program from numbers; the words in it went through the same escaping.
            (PreEscaped(&figure.svg))
            figcaption {
                @for (class, name) in &figure.keys {
                    span class="key" {
                        svg viewBox="0 0 44 10" aria-hidden="true" {
                            path class=(class) d="M1 5H43" {}
                        }
                        (name)
                    }
                }
                @if !figure.caption.is_empty() { span { (figure.caption) } }
            }
        }
    }
}
