//! The card as one self-contained HTML file.
//!
//! On paper and on wide screens every line is placed as on the sheet; on a phone the same text flows.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::Paper;
use super::sheet::{Block, Part, Role, Sheet, Tone};
use super::typeset::{Cut, Type};
use crate::formats::picture::escape;

/// The page, with its typeface or without.
#[must_use]
pub fn page(sheet: &Sheet, title: &str, set: &Type, typeface: bool) -> String {
    let (width, height) = sheet.paper.points();
    let mut body = String::new();
    for block in &sheet.blocks {
        element(block, "", set, &mut body);
    }
    let mut rules = String::new();
    for stroke in &sheet.strokes {
        rules.push_str(&format!(
            "<path class=\"{}\" stroke-width=\"{:.2}\" d=\"M{:.2} {:.2}H{:.2}\"/>\n",
            if stroke.strong { "k" } else { "h" },
            stroke.width,
            stroke.from.0,
            stroke.from.1,
            stroke.to.0
        ));
    }
    let fonts: String = Cut::ALL
        .into_iter()
        .filter(|_| typeface)
        .map(|cut| {
            let (weight, style) = match cut {
                Cut::Regular => (400, "normal"),
                Cut::Semibold => (600, "normal"),
                Cut::Italic => (400, "italic"),
            };
            format!(
                "@font-face{{font-family:\"Card\";font-weight:{weight};font-style:{style};src:url(data:font/otf;base64,{}) \
                 format(\"opentype\")}}\n",
                STANDARD.encode(set.file(cut))
            )
        })
        .collect();
    let size = match sheet.paper {
        Paper::A4 => "A4",
        Paper::Letter => "letter",
    };
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<meta name=\"color-scheme\" content=\"light dark\">\n<link rel=\"icon\" \
         href=\"data:,\">\n<title>{}</title>\n<style>\n{fonts}@page{{size:{size};margin:0}}\n\
         .page{{width:{width:.2}pt;height:{:.2}pt}}\n{STYLE}</style>\n</head>\n<body>\n<main class=\"page\">\n<svg aria-hidden=\"true\" \
         viewBox=\"0 0 {width:.2} {height:.2}\" width=\"{width:.2}pt\" height=\"{height:.2}pt\">\n{rules}</svg>\n{body}</main>\n</body>\n\
         </html>\n",
        escape(title),
        // Slightly less than the paper: rounding must not start a second page.
        height - 1.0,
    )
}

/// The colours of the window; text has a contrast of at least 4.5:1 to its background (WCAG 2.2, 1.4.3). Paper is
/// printed without a background.
const STYLE: &str = "\
:root{--ground:#f7f4ec;--ink:#1a1915;--soft:#4a473f;--hairline:#c6c0b1}
@media screen and (prefers-color-scheme:dark){:root{--ground:#131311;--ink:#f0ebdf;--soft:#c0baac;--hairline:#45423b}}
@media print{:root{--ground:#fff;--ink:#000;--soft:#3a3830;--hairline:#a8a295}}
html,body{margin:0;padding:0;background:var(--ground)}
body{color:var(--ink);font-family:\"Card\",Georgia,serif;font-kerning:normal;text-size-adjust:none}
.page{position:relative;overflow:hidden;margin:0 auto}
.page svg{position:absolute;left:0;top:0}
.k{stroke:var(--ink)}.h{stroke:var(--hairline)}
h1,h2,p,ol,ul,li,table,tbody,tr,th,td,section{margin:0;padding:0;border:0;font:inherit;text-align:left;list-style:none}
.l{position:absolute;white-space:pre;line-height:1}
.b{font-weight:600}.i{font-style:italic}.s{color:var(--soft)}
@media screen and (max-width:600px){
.page{width:auto!important;height:auto!important;padding:1rem;overflow:visible}
.page svg{display:none}
.l{position:static!important;white-space:normal;font-size:1.05rem!important;line-height:1.35}
h1 .l{font-size:1.7rem!important;line-height:1.15}
h2 .l{font-size:1.25rem!important}
h1{margin-bottom:.8rem}
h2{margin-top:1.2rem}
table{display:block;margin-top:1rem}
tbody{display:block}
tr{display:grid;grid-template-columns:1fr 1fr 1fr;gap:.6rem;padding:.3rem 0;border-bottom:1px solid var(--hairline)}
td[colspan]{grid-column:span 2}
li{margin:.3rem 0}
}
";

/// Writes a block as HTML. `scope` is the scope of a heading cell in it.
fn element(block: &Block, scope: &str, set: &Type, out: &mut String) {
    // A row with only heading cells heads the columns.
    let scope = match block.role {
        Role::Row => {
            let is_head = |part: &Part| matches!(part, Part::Block(cell) if cell.role == Role::Head);
            if block.parts.iter().all(is_head) {
                "col"
            } else {
                "row"
            }
        }
        _ => scope,
    };
    let (open, close) = match block.role {
        Role::Title => ("<h1>", "</h1>"),
        Role::Heading => ("<h2>", "</h2>"),
        Role::Paragraph => ("<p>", "</p>"),
        Role::Table => ("<table><tbody>", "</tbody></table>"),
        Role::Row => ("<tr>", "</tr>"),
        // An empty heading cell heads nothing.
        Role::Head if block.parts.is_empty() => ("<td>", "</td>"),
        Role::Head if scope == "col" => ("<th scope=\"col\">", "</th>"),
        Role::Head => ("<th scope=\"row\">", "</th>"),
        Role::Cell => ("<td>", "</td>"),
        Role::Wide => ("<td colspan=\"2\">", "</td>"),
        Role::Numbered => ("<ol>", "</ol>"),
        Role::List => ("<ul>", "</ul>"),
        Role::Entry => ("<li>", "</li>"),
        Role::Section => ("<section>", "</section>"),
    };
    out.push_str(open);
    for part in &block.parts {
        match part {
            Part::Block(block) => element(block, scope, set, out),
            Part::Line(line) => {
                let (ascent, descent) = set.heights(line.cut);
                // A line box of one em is centred on the font's own box.
                let top = line.y - line.size * (0.5 + (ascent - descent) / 2.0);
                let mut class = String::from("l");
                match line.cut {
                    Cut::Regular => {}
                    Cut::Semibold => class.push_str(" b"),
                    Cut::Italic => class.push_str(" i"),
                }
                if line.tone == Tone::Soft {
                    class.push_str(" s");
                }
                out.push_str(&format!(
                    "<span class=\"{class}\" style=\"left:{:.2}pt;top:{top:.2}pt;font-size:{:.3}pt\">{} </span>",
                    line.x,
                    line.size,
                    escape(&line.text)
                ));
            }
        }
    }
    out.push_str(close);
    out.push('\n');
}
