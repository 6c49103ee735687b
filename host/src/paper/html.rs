//! What both printed sheets have in common. No size of paper is fixed: margins leave enough room on A4
//! and on Letter.

use std::fmt::Write as _;

/// How the paper lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Paper {
    Upright,
    Lying,
}

/// The beginning of a page, up to its body.
pub(super) fn head(title: &str, paper: Paper) -> String {
    let mut page =
        String::from("<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    let _ = writeln!(
        page,
        "<meta name=\"generator\" content=\"{}\">",
        super::MARK
    );
    let _ = writeln!(page, "<title>{}</title>", escaped(title));
    page.push_str("<style>\n");
    page.push_str(STYLE);
    page.push_str(match paper {
        Paper::Upright => "",
        Paper::Lying => LYING,
    });
    page.push_str("</style>\n</head>\n<body>\n");
    page
}

/// For paper that lies.
const LYING: &str = "\
@page { size: landscape; }
@media screen { body { max-width: 256mm; } }
";

pub(super) const FOOT: &str = "</body>\n</html>\n";

const STYLE: &str = "\
@page { margin: 14mm 12mm 16mm; @bottom-right { content: \"page \" counter(page) \" of \" counter(pages); font: 9pt sans-serif; } }
body { margin: 0; color: #000; background: #fff; print-color-adjust: exact; -webkit-print-color-adjust: exact; font: 10pt/1.35 sans-serif; }
h1 { font-size: 15pt; margin: 0 0 2mm; }
h2 { font-size: 12.5pt; margin: 0 0 1.5mm; }
p { margin: 0 0 2mm; }
dl { display: grid; grid-template-columns: max-content auto; gap: 0.5mm 4mm; margin: 0 0 4mm; }
dt { font-weight: bold; }
dd { margin: 0; }
table { border-collapse: collapse; width: calc(100% - 2px); table-layout: fixed; }
thead { display: table-header-group; }
tr { break-inside: avoid; page-break-inside: avoid; }
th, td { border: 0.25mm solid #777; padding: 0.7mm 1.3mm; text-align: left; vertical-align: top; overflow-wrap: anywhere; }
th { border-bottom: 0.6mm solid #000; font-size: 9pt; }
table + table { break-before: page; page-break-before: always; }
tr.part > th { background: #eee; }
td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; }
td.n { white-space: nowrap; }
td.way, td.pass { font-size: 9pt; }
tr.new > td { border-top: 0.6mm solid #000; }
.box { display: inline-block; width: 3.6mm; height: 3.6mm; border: 0.35mm solid #000; }
tr.note > td { background: #eee; border-top: 0.6mm solid #000; font-size: 9pt; }
tr.note { break-after: avoid; page-break-after: avoid; }
.held { color: #555; }
section { break-inside: avoid; page-break-inside: avoid; margin: 0 0 6mm; }
svg { display: block; max-width: 100%; height: auto; }
.small { font-size: 9pt; }
@media screen { body { max-width: 190mm; margin: 8mm auto; padding: 0 6mm; } }
";

/// Text as HTML has it.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            letter => out.push(letter),
        }
    }
    out
}

/// A list of terms and what they are.
pub(super) fn terms(list: &[(&str, String)]) -> String {
    let mut out = String::from("<dl>\n");
    for (term, what) in list {
        let _ = writeln!(out, "<dt>{}</dt><dd>{}</dd>", escaped(term), escaped(what));
    }
    out.push_str("</dl>\n");
    out
}
