//! What every page of the office has around it.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::document::html::STYLES;
use crate::texts::Language;

/// Style of links, forms and lists.
const MORE: &str = r"
nav{display:flex;flex-wrap:wrap;gap:.3rem 1.2rem;align-items:baseline;border-bottom:2px solid var(--rule);
padding:.6rem 0;margin-bottom:.6rem}nav strong{margin-right:auto}
.skip{position:absolute;left:-999rem}.skip:focus{position:static}
a:focus-visible,.scroll:focus-visible,button:focus-visible,input:focus-visible,select:focus-visible{outline:3px solid var(--nw);
outline-offset:2px}
form{display:flex;flex-wrap:wrap;gap:.6rem 1.2rem;align-items:end;margin:.8rem 0}
label{display:flex;flex-direction:column;gap:.15rem}label.box{flex-direction:row;align-items:center;gap:.5rem}
input,select,button{font:inherit;padding:.45rem .6rem;border:1px solid var(--soft);border-radius:.3rem;
background:var(--card);color:inherit;min-height:2.75rem}
input[type=checkbox]{min-height:0;width:1.4rem;height:1.4rem}button{font-weight:600;cursor:pointer}
.turn{display:flex;gap:1.2rem}progress{width:100%;height:1.4rem}
@media(max-width:34rem){table.list thead{display:none}table.list,.list tbody,.list tr,.list td{display:block}
.list tr{border-top:1px solid var(--rule);padding:.5rem 0}.list td{border:0;padding:.1rem 0}
.list td[data-name]::before{content:attr(data-name) ': ';color:var(--soft)}}
";

/// A page with its links and `content`.
pub(super) fn shell(language: &dyn Language, title: &str, content: &Markup) -> Markup {
    let words = language.office();
    html! {
        (DOCTYPE)
        html lang=(language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                // An empty picture, so that no browser asks for one.
                link rel="icon" href="data:,";
                style { @for style in STYLES { (PreEscaped(style)) } (PreEscaped(MORE)) }
            }
            body {
                main {
                    a class="skip" href="#content" { (words.to_content) }
                    nav {
                        strong { (words.name) }
                        a href="/" { (words.sites) }
                        a href="/testers" { (words.testers) }
                        a href="/pull" { (words.pull) }
                    }
                    div id="content" {
                        h1 { (title) }
                        (content)
                    }
                }
            }
        }
    }
}

/// A value in a query.
pub(super) fn query(text: &str) -> String {
    text.bytes().fold(String::new(), |mut query, byte| {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            query.push(char::from(byte));
        } else {
            query.push_str(&format!("%{byte:02X}"));
        }
        query
    })
}
